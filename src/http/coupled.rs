//! What the runs of a trial were coupled with and driven by, as the shelf had it when they got their names: what is put
//! there later under the same name, or taken off, changes no trial that was walked.
//!
//! A setup that was changed between the runs of one trial is not one setup: the runs of the chain that fewer of them have
//! do not count, and say why.

use super::problem::Problem;
use super::tags::as_it_was;
use boltscribe_model::setups::{Chain, TestBolt, Tool};
use boltscribe_store::{AsOf, NamesAsOf, Reader, RunId, RunLine, ShelfKind};
use std::collections::HashMap;
use std::collections::hash_map::Entry;

/// The chains of some runs.
pub(super) struct Coupled {
    named: HashMap<RunId, NamesAsOf>,
    chains: HashMap<(String, AsOf), Vec<String>>,
    usual: HashMap<String, Vec<String>>,
}

impl Coupled {
    /// Looks them up.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn of(reader: &Reader, runs: &[&RunLine]) -> Result<Self, Problem> {
        let numbers: Vec<RunId> = runs.iter().map(|run| run.id).collect();
        let named = reader.names_as_of(&numbers)?;
        let mut chains: HashMap<(String, AsOf), Vec<String>> = HashMap::new();
        for run in runs {
            let (Some(setup), Some(named)) = (&run.setup, named.get(&run.id)) else { continue };
            if let Entry::Vacant(unknown) = chains.entry((setup.clone(), named.setup)) {
                // A chain that never stood on the shelf is told where pieces are asked for.
                let chain: Option<Chain> = as_it_was(reader, ShelfKind::Setups, setup, named.setup)?;
                unknown.insert(chain.map_or_else(Vec::new, |chain| chain.pieces));
            }
        }
        let mut coupled = Self { named, chains, usual: HashMap::new() };
        coupled.usual = coupled.most_used(runs);
        Ok(coupled)
    }

    /// Of each setup the chain that most of its counting runs have, the earlier one where two have as many.
    fn most_used(&self, runs: &[&RunLine]) -> HashMap<String, Vec<String>> {
        let mut counts: HashMap<&str, Vec<(&[String], usize)>> = HashMap::new();
        for run in runs.iter().filter(|run| !run.excluded) {
            let Some(setup) = &run.setup else { continue };
            let pieces = self.pieces(run);
            let of_setup = counts.entry(setup).or_default();
            match of_setup.iter_mut().find(|(known, _)| *known == pieces) {
                Some((_, count)) => *count += 1,
                None => of_setup.push((pieces, 1)),
            }
        }
        let most = |of_setup: Vec<(&[String], usize)>| {
            let first_of_most = of_setup.iter().rev().max_by_key(|(_, count)| *count);
            first_of_most.map_or_else(Vec::new, |(pieces, _)| pieces.to_vec())
        };
        counts.into_iter().map(|(setup, of_setup)| (setup.to_owned(), most(of_setup))).collect()
    }

    /// The pieces of a run, from the anvil on; empty where they are not known.
    pub(super) fn pieces(&self, run: &RunLine) -> &[String] {
        let found = run.setup.clone().zip(self.named.get(&run.id)).map(|(setup, named)| (setup, named.setup));
        found.and_then(|key| self.chains.get(&key)).map_or(&[], Vec::as_slice)
    }

    /// The pieces of a setup in these runs; none where no run of it counts.
    pub(super) fn pieces_of(&self, setup: &str) -> Option<&[String]> {
        self.usual.get(setup).map(Vec::as_slice)
    }

    /// Why a run does not count beside the others of its setup.
    pub(super) fn other_chain(&self, run: &RunLine) -> Option<String> {
        let setup = run.setup.as_deref()?;
        let (own, usual) = (self.pieces(run), self.pieces_of(setup)?);
        (own != usual).then(|| {
            format!(
                "setup '{setup}' was {} then, and {} for other runs of the trial",
                words(own),
                words(usual)
            )
        })
    }

    /// The tool of a run, as the shelf had it.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn tool(&self, reader: &Reader, run: &RunLine) -> Result<Option<Tool>, Problem> {
        self.document(reader, run, ShelfKind::Tools, run.tool.as_deref(), |named| named.tool)
    }

    /// The test bolt of a run, as the shelf had it.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn bolt(&self, reader: &Reader, run: &RunLine) -> Result<Option<TestBolt>, Problem> {
        self.document(reader, run, ShelfKind::Bolts, run.bolt.as_deref(), |named| named.bolt)
    }

    fn document<T: serde::de::DeserializeOwned>(
        &self,
        reader: &Reader,
        run: &RunLine,
        kind: ShelfKind,
        name: Option<&str>,
        state: impl Fn(&NamesAsOf) -> AsOf,
    ) -> Result<Option<T>, Problem> {
        let Some((name, named)) = name.zip(self.named.get(&run.id)) else { return Ok(None) };
        as_it_was(reader, kind, name, state(named))
    }
}

fn words(pieces: &[String]) -> String {
    if pieces.is_empty() { "not known".to_owned() } else { format!("[{}]", pieces.join(" + ")) }
}
