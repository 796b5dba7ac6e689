//! Whether a loss can be ruled out: two one-sided tests, and how often they claim what is not so.
//!
//! A published example of bioequivalence is not at hand; the t and p are worked out by scipy.

use super::honesty::bounds;
use super::support::{assert_near, groups, row};
use super::trials::Random;
use boltscribe::compare::equivalence::{Claim, equivalence};
use boltscribe::compare::{Drift, Question, compare};

fn ask(drift: Drift) -> Question {
    Question { baseline: "b".into(), drift: Some(drift), alpha: 0.05 }
}

const BASE: [f64; 5] = [80.1, 79.8, 80.4, 79.9, 80.3];
const OTHER: [f64; 5] = [79.6, 79.9, 79.4, 79.8, 80.0];
const P_LOSS: f64 = 2.187_142_858_886_886_4e-5;
const P_GAIN: f64 = 7.440_488_627_595_059e-7;

#[test]
fn one_setup_is_two_tests_of_student() {
    let found = compare(&groups(&[("b", &BASE), ("x", &OTHER)]), &ask(Drift::None)).unwrap();
    let judged = row(&found, None, "x").judged.unwrap();
    // Scipy 1.17.1: ttest_ind of the logarithms shifted by ln(0.98), alternative "greater", and by -ln(0.98), "less".
    let at_2 = equivalence(&found, 2.0)[1].unwrap();
    assert_near("p of a loss", at_2.p_loss, P_LOSS, 1e-9);
    assert_near("p of either", at_2.p_either, P_LOSS.max(P_GAIN), 1e-9);
    assert_eq!(at_2.claim, Claim::Equivalent);
    // The difference itself is far from shown, and a smaller loss is not ruled out.
    assert!(judged.p_adjusted > 0.05);
    assert_eq!(equivalence(&found, 0.3)[1].unwrap().claim, Claim::NotRuledOut);
    assert_eq!(equivalence(&found, 2.0)[0], None, "a baseline");
    // One-sided limits at 95 % are two-sided ones at 90 %: the least loss that is ruled out stands at the limit.
    let wide = Question { alpha: 0.1, ..ask(Drift::None) };
    let low = row(&compare(&groups(&[("b", &BASE), ("x", &OTHER)]), &wide).unwrap(), None, "x").judged;
    let low = low.unwrap().limits.unwrap().0;
    assert_near("at the limit", equivalence(&found, 100.0 - low)[1].unwrap().p_loss, 0.05, 1e-9);
}

#[test]
fn setups_at_the_stated_loss_are_claimed_no_more_often_than_the_risk() {
    let mut random = Random(23);
    let trials = 200;
    let (mut lossy, mut either) = (0, 0);
    for _ in 0..trials {
        let mut of = |ratio: f64| -> Vec<f64> {
            (0..5).map(|_| 80.0 * ratio * (0.008 * random.normal()).exp()).collect()
        };
        let (b, lost, lost_2, gained) = (of(1.0), of(0.97), of(0.97), of(1.0 / 0.97));
        let found =
            compare(&groups(&[("b", &b), ("1", &lost), ("2", &lost_2), ("3", &gained)]), &ask(Drift::None))
                .unwrap();
        let claims: Vec<Claim> = equivalence(&found, 3.0).into_iter().flatten().map(|e| e.claim).collect();
        lossy += u64::from(claims[..2].iter().any(|claim| *claim != Claim::NotRuledOut));
        either += u64::from(claims.contains(&Claim::Equivalent));
    }
    let (_, most) = bounds(trials, 0.05);
    assert!(lossy <= most && either <= most, "{lossy} and {either} of {trials}, at most {most}");
}

#[test]
fn brackets_rule_out_losses_too() {
    let values = [80.0, 80.3, 79.9, 79.8, 80.1, 79.7, 80.2, 79.9, 80.1];
    let runs = "bbb111bbb".chars().zip(values).map(|(s, v)| (s.to_string(), vec![v])).collect::<Vec<_>>();
    let runs: Vec<(&str, &[f64])> = runs.iter().map(|(s, v)| (s.as_str(), v.as_slice())).collect();
    let found = compare(&groups(&runs), &ask(Drift::Bracket)).unwrap();
    assert_eq!(equivalence(&found, 2.0)[1].unwrap().claim, Claim::Equivalent);
    assert_eq!(equivalence(&found, 0.01)[1].unwrap().claim, Claim::NotRuledOut);
}
