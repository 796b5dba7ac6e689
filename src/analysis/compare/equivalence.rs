//! Whether a loss greater than a stated one can be ruled out: two one-sided tests.
//!
//! "No difference shown" is no answer for a buyer: few runs show nothing. Here the null hypothesis is that the loss is
//! greater (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657). Wrong claims over all setups of a tool are held to the
//! risk: the side of a loss by Dunnett's one-sided test, both sides together by Bonferroni. Must not know how the
//! percents were estimated.

use super::answer::{Comparison, Family, SetupRow};
use boltscribe_numerics::distributions::t_sf;
use boltscribe_numerics::many_to_one::{ManyToOne, Sides};
use serde::Serialize;
use utoipa::ToSchema;

/// What is claimed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
#[schema(as = EquivalenceClaim)]
pub enum Claim {
    /// Neither a loss nor a gain above the stated one.
    Equivalent,
    /// No loss above the stated one; a gain may be.
    NoSuchLoss,
    /// A loss above it is not ruled out.
    NotRuledOut,
}

/// One setup against a stated loss.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Equivalence {
    /// p of a loss above the stated one, for all setups of the tool together.
    pub p_loss: f64,
    /// p of a loss or a gain above the stated one, likewise.
    pub p_either: f64,
    /// What is claimed at the risk of the comparison.
    pub claim: Claim,
}

/// Each row of a comparison against a loss of so many percent, above 0 and below 100; none for baselines and where repeats
/// are too few. A gain is as great as the loss where it undoes it: 100/(1 − loss).
#[must_use]
pub fn equivalence(found: &Comparison, loss_percent: f64) -> Vec<Option<Equivalence>> {
    let margin = -libm::log1p(-loss_percent / 100.0);
    let mut all = vec![None; found.setups.len()];
    for family in &found.families {
        let Some(one_sided) = ManyToOne::new(&family.contrasts, family.freedom, Sides::One) else { continue };
        let rows = found.setups.iter().zip(&mut all).skip(family.first).take(family.contrasts.len());
        for (row, claim) in rows {
            *claim = against(row, family, &one_sided, (margin, found.alpha));
        }
    }
    all
}

fn against(
    row: &SetupRow,
    family: &Family,
    one_sided: &ManyToOne,
    (margin, alpha): (f64, f64),
) -> Option<Equivalence> {
    let judged = row.judged?;
    let ln = libm::log(row.percent_of_baseline / 100.0);
    let freedom = judged.degrees_of_freedom as f64;
    let (over_loss, under_gain) = ((ln + margin) / judged.se_of_ln, (margin - ln) / judged.se_of_ln);
    let most = family.contrasts.len() as f64;
    let p_loss = one_sided.p_adjusted(over_loss);
    let p_either = (most * t_sf(over_loss.min(under_gain), freedom)).min(1.0);
    let claim = if p_either < alpha {
        Claim::Equivalent
    } else if p_loss < alpha {
        Claim::NoSuchLoss
    } else {
        Claim::NotRuledOut
    };
    Some(Equivalence { p_loss, p_either, claim })
}
