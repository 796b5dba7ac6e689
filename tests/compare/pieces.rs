//! What pieces cost: invented data with known effects, and the algebra of what can be told.
//! Nothing here was measured.

use super::support::{assert_near, observations};
use boltscribe::compare::pieces::piece_effects;
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
