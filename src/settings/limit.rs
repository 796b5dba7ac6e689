//! Limits of tool classes: from typed keys to what judges take.
//!
//! Kinds and ranges were checked before. This file must not know which tools there are.

use super::problem::Problem;
use super::rig::placed;
use super::typed::TypedLimit;
use boltscribe_analysis::compare::acceptance::Limit;
use boltscribe_analysis::compare::looks::{EXPECTED, Looks};
use boltscribe_analysis::compare::{ClassLimit, LimitUnit};
use config::Value;

/// Looks as typed; none where they are not whole numbers that rise.
fn planned(looks: &[f64]) -> Option<Looks> {
    let whole: Option<Vec<u32>> = looks.iter().map(|n| (n.fract() == 0.0).then_some(*n as u32)).collect();
    Looks::new(&whole?)
}

/// Most classes.
const LIMITS_MAX: usize = 100;

/// The typed limits as checked ones; `values` and `typed` go side by side.
pub(super) fn checked(values: &[Value], typed: Vec<TypedLimit>) -> Result<Vec<ClassLimit>, Vec<Problem>> {
    let mut good: Vec<ClassLimit> = Vec::new();
    let mut problems = Vec::new();
    for (value, typed) in values.iter().zip(typed) {
        if good.len() >= LIMITS_MAX {
            let what = format!("expected at most {LIMITS_MAX} limits, found {}", values.len());
            problems.push(placed(value, "limit", "class", what));
            break;
        }
        let all = [
            ("least_kN", typed.least_kn.map(|v| (Limit::Lower(v), LimitUnit::Kilonewtons))),
            ("most_kN", typed.most_kn.map(|v| (Limit::Upper(v), LimitUnit::Kilonewtons))),
            ("least_Nm", typed.least_nm.map(|v| (Limit::Lower(v), LimitUnit::NewtonMetres))),
            ("most_Nm", typed.most_nm.map(|v| (Limit::Upper(v), LimitUnit::NewtonMetres))),
        ];
        let given: Vec<_> = all.into_iter().filter_map(|(key, limit)| Some((key, limit?))).collect();
        if good.iter().any(|other| other.class == typed.class) {
            let what = format!("expected one limit for a class, found a second for '{}'", typed.class);
            problems.push(placed(value, "limit", "class", what));
            continue;
        }
        let looks = match typed.looks.as_deref().map(planned) {
            Some(None) => {
                problems.push(placed(value, "limit", "looks", format!("expected {EXPECTED}")));
                continue;
            }
            Some(looks) => looks,
            None => None,
        };
        match given[..] {
            [(_, (limit, unit))] => good.push(ClassLimit {
                class: typed.class,
                setup: typed.setup,
                measure: typed.measure,
                limit,
                unit,
                looks,
            }),
            [] => {
                let what = "expected one of least_kN, most_kN, least_Nm and most_Nm beside it, found none";
                problems.push(placed(value, "limit", "class", what.to_owned()));
            }
            [(first, _), (second, _), ..] => {
                let what = format!("expected one limit, found {first} too");
                problems.push(placed(value, "limit", second, what));
            }
        }
    }
    if problems.is_empty() { Ok(good) } else { Err(problems) }
}
