//! The figures of one result as names and values, and what differs between two of them.
//!
//! Names end in their unit, as everywhere in the interface. No figure is computed again.

use boltscribe_analysis::results::{FiguresShown, RunResult};
use serde::Serialize;
use serde_json::{Value, json};
use utoipa::ToSchema;

/// One figure in two results.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = FigureDifference)]
pub struct Difference {
    /// Which; its unit stands last in the name.
    pub figure: String,
    /// Before; null where there was none.
    #[schema(value_type = Option<FigureValue>)]
    pub before: Value,
    /// Now; null where there is none.
    #[schema(value_type = Option<FigureValue>)]
    pub after: Value,
}

/// What a figure may be.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[serde(untagged)]
pub enum FigureValue {
    /// In the unit of its name.
    Number(f64),
    /// Yes or no.
    YesOrNo(bool),
    /// A name.
    Name(String),
    /// Names of flags.
    Names(Vec<String>),
}

/// The figures of a result that people compare, in order.
#[must_use]
pub fn figures(result: &RunResult) -> Vec<(String, Value)> {
    let record = &result.record;
    let torques = &result.torques;
    let plateau = record.plateau.as_ref();
    let bolt = result.in_force.bolt.as_ref();
    let flags: Vec<&str> = result.flags.iter().map(|flag| flag.name()).collect();
    let plain = [
        ("held_kN", json!(record.held.map(|f| f.kn()))),
        ("level_kN", json!(record.level.map(|f| f.kn()))),
        ("peak_kN", json!(record.peak.kn())),
        ("peak_time_s", json!(record.peak_time_s)),
        ("peak_is_lower_bound", json!(record.peak_is_lower_bound)),
        ("plateau_kN", json!(plateau.map(|p| p.limit.kn()))),
        ("plateau_se_kN", json!(plateau.map(|p| p.limit_se.kn()))),
        ("time_constant_s", json!(plateau.map(|p| p.time_constant_s))),
        ("time_constant_se_s", json!(plateau.map(|p| p.time_constant_se_s))),
        ("first_blow_s", json!(record.first_blow_s)),
        ("last_blow_s", json!(record.last_blow_s)),
        ("drive_time_s", json!(record.drive_time_s)),
        ("blows", json!(record.blow_count)),
        ("blow_rate_hz", json!(record.blow_rate_hz)),
        ("ringing_kN", json!(record.ringing.map(|f| f.kn()))),
        ("zero_kN", json!(record.zero.kn())),
        ("zero_shift_kN", json!(record.zero_shift.kn())),
        ("noise_kN", json!(record.noise.kn())),
        ("spikes", json!(record.spikes)),
        ("missing", json!(record.missing)),
        ("clipped", json!(record.clipped)),
        ("equivalent_torque_Nm", json!(torques.held)),
        ("equivalent_torque_peak_Nm", json!(torques.peak)),
        ("equivalent_torque_plateau_Nm", json!(torques.plateau)),
        ("bolt_factor_N_per_Nm", json!(bolt.and_then(|b| b.factor))),
        ("allowed_kN", json!(bolt.and_then(|b| b.allowed_kn))),
        ("calibration", json!(result.calibration)),
        ("flags", json!(flags)),
    ];
    let mut all: Vec<(String, Value)> =
        plain.into_iter().map(|(key, value)| (key.to_owned(), value)).collect();
    for (index, gate) in record.gates.iter().enumerate() {
        let torque = torques.gates.get(index).copied().flatten();
        all.push((format!("gate_{}_s_kN", gate.after_s), json!(gate.tension.map(|f| f.kn()))));
        all.push((format!("gate_{}_s_Nm", gate.after_s), json!(torque)));
    }
    all.extend(from_medians(&FiguresShown::from(record)));
    all
}

/// What follows from the medians; lists become one name a gate and a tension.
fn from_medians(shown: &FiguresShown) -> Vec<(String, Value)> {
    let Ok(Value::Object(map)) = serde_json::to_value(shown) else { return Vec::new() };
    let plain = map.into_iter().filter(|(_, value)| !value.is_array());
    let growth = shown.growth.iter().flat_map(|g| {
        [
            (format!("growth_{}_s_kN_per_s", g.after_s), json!(g.growth_kn_per_s)),
            (format!("growth_se_{}_s_kN_per_s", g.after_s), json!(g.growth_se_kn_per_s)),
        ]
    });
    let reached = shown.reached.iter().flat_map(|r| {
        [
            (format!("state_at_{}_kN", r.tension_kn), json!(r.state)),
            (format!("time_to_{}_kN_s", r.tension_kn), json!(r.after_s)),
            (format!("blows_to_{}_kN", r.tension_kn), json!(r.blows)),
        ]
    });
    plain.chain(growth).chain(reached).collect()
}

/// What differs, figure by figure; where only the list of blows does, that is said.
#[must_use]
pub fn differences(before: &RunResult, after: &RunResult) -> Vec<Difference> {
    let (old, new) = (figures(before), figures(after));
    let value = |of: &[(String, Value)], key: &str| {
        of.iter().find(|(name, _)| name == key).map_or(Value::Null, |(_, value)| value.clone())
    };
    let gone = old.iter().filter(|(key, _)| !new.iter().any(|(name, _)| name == key));
    let mut all: Vec<Difference> = new
        .iter()
        .chain(gone)
        .map(|(key, _)| Difference { figure: key.clone(), before: value(&old, key), after: value(&new, key) })
        .filter(|d| d.before != d.after)
        .collect();
    if all.is_empty() && before != after {
        all.push(Difference {
            figure: "blow_list".into(),
            before: json!(before.record.blows.len()),
            after: json!(after.record.blows.len()),
        });
    }
    all
}
