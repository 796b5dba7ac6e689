//! What pieces cost: invented data with known effects, and the algebra of what can be told.
//! Nothing here was measured.

use super::support::{assert_near, observations};
use boltscribe::compare::pieces::{PieceModel, piece_effects, piece_effects_by};
use boltscribe::compare::{CompareError, Drift, Question};

fn ask() -> Question {
    Question { baseline: "direct".into(), drift: None, alpha: 0.05 }
}

/// A table of runs whose values are 80 × the product of what each piece leaves × a wobble.
fn table(chains: &[(&str, &str)], leaves: &[(&str, f64)], extra: &[(&str, f64)]) -> String {
    let mut text = String::from("run,time_s,setup,tension_kN,pieces\n");
    for run in 0..3 * chains.len() {
        let (setup, chain) = chains[run % chains.len()];
        let pieces: f64 =
            chain.split('+').map(|p| leaves.iter().find(|l| l.0 == p).map_or(1.0, |l| l.1)).product();
        let more = extra.iter().find(|e| e.0 == setup).map_or(1.0, |e| e.1);
        let wobble = 1.0 + 0.002 * (((run * 5) % 7) as f64 - 3.0);
        text.push_str(&format!(
            "{},{},{setup},{:.6},{chain}\n",
            run + 1,
            60 * run,
            80.0 * pieces * more * wobble
        ));
    }
    text
}

const CHAINS: [(&str, &str); 4] =
    [("direct", "socket"), ("ext", "ext+socket"), ("joint", "joint+socket"), ("both", "ext+joint+socket")];
const LEAVES: [(&str, f64); 2] = [("ext", 0.97), ("joint", 0.90)];

#[test]
fn pieces_apart_are_told_apart_and_an_untried_chain_is_predicted() {
    let chain = ["ext", "ext", "socket"].map(String::from);
    let all = observations(&table(&CHAINS, &LEAVES, &[]));
    let found = piece_effects(&all, &ask(), Some(&chain)).unwrap();
    assert_eq!(found.in_every_chain, ["socket"]);
    let of = |name: &str| found.pieces.iter().find(|p| p.combination == [(name.to_owned(), 1.0)]).unwrap();
    for (name, leaves) in LEAVES {
        assert!((of(name).percent - 100.0 * leaves).abs() < 0.5, "{name} {}", of(name).percent);
        let (low, high) = of(name).limits.unwrap();
        assert!(low < 100.0 * leaves && high > 100.0 * leaves);
    }
    assert!(found.lack_of_fit.unwrap().p_value > 0.05);
    let predicted = found.prediction.unwrap();
    assert_near("twice", predicted.percent.unwrap(), of("ext").percent.powi(2) / 100.0, 1e-12);
    let (mean, run) = (predicted.limits.unwrap(), predicted.one_run.unwrap());
    assert!(run.0 < mean.0 && run.1 > mean.1);
    assert!(predicted.note.unwrap().contains("more often"));
}

#[test]
fn losses_that_do_not_multiply_are_seen() {
    let found =
        piece_effects(&observations(&table(&CHAINS, &LEAVES, &[("both", 0.95)])), &ask(), None).unwrap();
    let lack = found.lack_of_fit.unwrap();
    assert_eq!((lack.above, lack.below), (1, 8));
    assert!(lack.p_value < 0.001, "{}", lack.p_value);
}

#[test]
fn pieces_that_never_stood_apart_are_one_combination() {
    let chains = [("direct", "socket"), ("both", "ext+joint+socket")];
    let all = observations(&table(&chains, &LEAVES, &[]));
    let alone = ["ext", "socket"].map(String::from);
    let found = piece_effects(&all, &ask(), Some(&alone)).unwrap();
    assert_eq!(found.pieces.len(), 1);
    assert_eq!(found.pieces[0].combination, [("ext".to_owned(), 1.0), ("joint".to_owned(), 1.0)]);
    assert!((found.pieces[0].percent - 87.3).abs() < 0.5);
    assert_eq!(found.prediction.unwrap().percent, None);
}

#[test]
fn a_name_with_two_chains_is_refused() {
    let text = "run,time_s,setup,tension_kN,pieces\n1,0,direct,80,socket\n2,1,ext,78,ext+socket\n3,2,ext,77,socket\n";
    let error = piece_effects(&observations(text), &ask(), None).unwrap_err();
    assert!(matches!(&error, CompareError::TwoChains { row: 2, .. }), "{error}");
    let bracket = Question { drift: Some(Drift::Bracket), ..ask() };
    let all = observations(&table(&CHAINS, &LEAVES, &[]));
    assert_eq!(piece_effects(&all, &bracket, None).unwrap_err(), CompareError::NoPieceBracket);
}

#[test]
fn compliances_that_add_are_found_and_the_other_model_is_told_not_to_fit() {
    // 1/F² of the tool, and one more for each piece: invented, with a wobble of a thousandth.
    let chains = [
        ("direct", "socket"),
        ("ext", "ext+socket"),
        ("two", "ext+ext+socket"),
        ("joint", "joint+socket"),
        ("both", "ext+joint+socket"),
    ];
    let mut text = String::from("run,time_s,setup,tension_kN,pieces\n");
    for run in 0..25 {
        let (setup, chain) = chains[run % 5];
        let z: f64 = 1.0
            + chain
                .split('+')
                .map(|p| [("ext", 0.3), ("joint", 0.8)].iter().find(|l| l.0 == p).map_or(0.0, |l| l.1))
                .sum::<f64>();
        let wobble = 1.0 + 0.001 * (((run * 5) % 7) as f64 - 3.0);
        text.push_str(&format!("{},{},{setup},{},{chain}\n", run + 1, 60 * run, 80.0 * wobble / z.sqrt()));
    }
    let all = observations(&text);
    let chain = ["joint", "joint", "socket"].map(String::from);
    let ask = Question { drift: Some(Drift::None), ..ask() };
    let found = piece_effects_by(&all, &ask, Some(&chain), PieceModel::Compliance).unwrap();
    let percent = |piece: &str| found.pieces.iter().find(|p| p.label() == piece).unwrap();
    for (piece, more) in [("ext", 0.3_f64), ("joint", 0.8)] {
        let (low, high) = percent(piece).limits.unwrap();
        let truth = 100.0 / (1.0 + more).sqrt();
        assert!(low < truth && truth < high && high - low < 0.5, "{piece}: {low} to {high}, {truth}");
    }
    let predicted = found.prediction.clone().unwrap();
    let truth = 100.0 / 2.6_f64.sqrt();
    let (low, high) = predicted.limits.unwrap();
    assert!(low < truth && truth < high && (predicted.percent.unwrap() - truth).abs() < 0.3, "{predicted:?}");
    assert!(found.lack_of_fit.as_ref().unwrap().p_value > 0.05);
    let other = found.other.as_ref().unwrap();
    assert!(other.model == PieceModel::Product && other.lack_of_fit.as_ref().unwrap().p_value < 1e-6);
    // And the other way round.
    let product = piece_effects(&all, &ask, None).unwrap();
    assert_eq!(product.other.as_ref().unwrap().lack_of_fit, found.lack_of_fit);
    // A drift is taken out with it.
    let drifting: Vec<_> = all
        .iter()
        .map(|o| boltscribe::compare::Observation {
            value: o.value * (-0.02 * o.time_s / 3600.0).exp(),
            ..o.clone()
        })
        .collect();
    let ask = Question { drift: Some(Drift::Linear), ..ask };
    let found = piece_effects_by(&drifting, &ask, None, PieceModel::Compliance).unwrap();
    assert!((found.drift_found.unwrap().percent_per_hour - -2.0).abs() < 0.2, "{:?}", found.drift_found);
}

#[test]
fn limits_of_compliances_hold_the_truth() {
    use super::honesty::bounds;
    use super::trials::Random;
    let chains =
        [vec!["socket"], vec!["ext", "socket"], vec!["joint", "socket"], vec!["ext", "joint", "socket"]];
    let ask = Question { baseline: "0".into(), drift: Some(Drift::Linear), alpha: 0.05 };
    let mut random = Random(31);
    let trials = 400;
    let mut held = 0;
    for _ in 0..trials {
        let runs: Vec<_> = (0..16)
            .map(|run| {
                let chain = &chains[(run * 5) % 4];
                let z: f64 = 1.0
                    + chain.iter().map(|p| if *p == "ext" { 0.3 } else { 0.0 }).sum::<f64>()
                    + chain.iter().map(|p| if *p == "joint" { 0.8 } else { 0.0 }).sum::<f64>();
                boltscribe::compare::Observation {
                    run: run as u64 + 1,
                    time_s: 150.0 * run as f64,
                    setup: ((run * 5) % 4).to_string(),
                    value: 80.0 / z.sqrt() * (0.01 * random.normal() - 1e-5 * run as f64).exp(),
                    pieces: chain.iter().map(|p| (*p).to_owned()).collect(),
                    ..Default::default()
                }
            })
            .collect();
        let found = piece_effects_by(&runs, &ask, None, PieceModel::Compliance).unwrap();
        let (low, high) = found.pieces.iter().find(|p| p.label() == "joint").unwrap().limits.unwrap();
        let truth = 100.0 / 1.8_f64.sqrt();
        held += u64::from(low <= truth && truth <= high);
    }
    let (least, most) = bounds(trials, 0.95);
    assert!((least..=most).contains(&held), "{held} of {trials}, {least} to {most}");
}
