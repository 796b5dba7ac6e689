//! All trials in short, kept between questions: a trial is worked out again only where something was stored of it.
//!
//! Must not know how far a trial is; that is `trial`.

use super::problem::Problem;
use super::trial_shown::{Stands, TrialLine};
use super::trial_state::{figure_of, left_out};
use boltscribe_analysis::trial::{Taken, progress};
use boltscribe_store::{Mark, Reader, SpokenOf, TrialRow, Walked};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// Lines of trials, each with the mark it was worked out at.
#[derive(Clone, Default)]
pub struct TrialLines(Arc<Mutex<HashMap<i64, (Mark, Line)>>>);

/// A trial in short, and whether its newest run is over.
#[derive(Clone)]
pub(super) struct Line {
    pub(super) line: TrialLine,
    pub(super) newest_is_closed: bool,
}

impl TrialLines {
    /// Of all trials, or of those of a rig, newest first.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn read(&self, reader: &Reader, rig: Option<&str>) -> Result<Vec<Line>, Problem> {
        let rows = reader.trials_marked(rig)?;
        let known = self.still_known(reader, &rows)?;
        let is_new = |(_, known): &(&(TrialRow, Mark), &Option<Line>)| known.is_none();
        let missing: Vec<i64> = rows.iter().zip(&known).filter(is_new).map(|((row, _), _)| row.id).collect();
        let mut walked = reader.walked(&missing)?;
        let mut lines = Vec::with_capacity(rows.len());
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        for ((row, mark), known) in rows.into_iter().zip(known) {
            let (id, walked) = (row.id, walked.remove(&row.id).unwrap_or_default());
            let line = known.unwrap_or_else(|| worked_out(row, &walked));
            // How a run closes that is still open is in no mark.
            if walked.1.iter().all(|run| run.is_closed) {
                all.insert(id, (mark, line.clone()));
            }
            lines.push(line);
        }
        Ok(lines)
    }

    /// The line of each row, where nothing was stored since that could change it.
    fn still_known(&self, reader: &Reader, rows: &[(TrialRow, Mark)]) -> Result<Vec<Option<Line>>, Problem> {
        let mut known: Vec<Option<(Mark, Line)>> = {
            let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            let still = |(mark, _): &&(Mark, Line), now: &Mark| now.goes_on_from(mark);
            rows.iter().map(|(row, now)| all.get(&row.id).filter(|kept| still(kept, now)).cloned()).collect()
        };
        // Runs that were spoken of since the one that was looked at longest ago.
        let behind = rows.iter().zip(&known).filter_map(|((_, now), known)| {
            known
                .as_ref()
                .map(|(mark, _)| mark.spoken_of())
                .filter(|spoken_of| now.spoken_of().is_newer(*spoken_of))
        });
        if let Some(since) = behind.reduce(SpokenOf::earlier) {
            let spoken_of = reader.trials_spoken_of(since)?;
            for ((row, _), known) in rows.iter().zip(&mut known) {
                let newest = spoken_of.get(&row.id);
                known.take_if(|(mark, _)| newest.is_some_and(|newest| newest.is_newer(mark.spoken_of())));
            }
        }
        Ok(known.into_iter().map(|known| known.map(|(_, line)| line)).collect())
    }
}

fn worked_out(row: TrialRow, (entries, runs): &Walked) -> Line {
    let said: Vec<_> = entries.iter().map(|entry| entry.said.clone()).collect();
    let taken = runs.iter().map(|run| Taken {
        go: run.attempt,
        run: run.id.0,
        setup: run.setup.clone(),
        tool: run.tool.clone(),
        value: figure_of(run.figures_kn, row.plan.measure),
        left_out_because: left_out(&run.left_out_because),
    });
    let found = progress(&row.plan, &said, &taken.collect::<Vec<Taken>>());
    Line {
        newest_is_closed: runs.last().is_none_or(|run| run.is_closed),
        line: TrialLine {
            standing: Stands::from(&found.standing),
            trial: row.plan.name,
            rig: row.plan.rig,
            steps_done: found.done.len(),
            steps_total: found.steps.len(),
            planned_by: row.who,
            planned_utc_ns: row.utc_ns,
            automatic: found.automatic,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trial_state::load;
    use boltscribe_analysis::results::{ByHand, Dial, DialUnit, Measure, Reading, ReadingOf};
    use boltscribe_analysis::trial::{Fresh, Go, Order, Plan, Said, steps};
    use boltscribe_model::control::{Attempt, InForce};
    use boltscribe_store::{Correction, Mode, RunId, Store, Write};

    fn plan(name: &str, seed: u64) -> Plan {
        Plan {
            name: name.into(),
            rig: "press".into(),
            tools: vec!["wrench".into()],
            baseline: "bare".into(),
            setups: vec!["long".into(), "ext".into()],
            repeats: 2,
            order: Order::Blocks,
            seed,
            drawing: None,
            baseline_every: None,
            warm_up: false,
            measure: Measure::Held,
            remount: None,
            looks: Vec::new(),
            rest_s: 0.0,
            fresh: Fresh::No,
            air_kpa: None,
            bolt: None,
        }
    }

    fn put(store: &Store, write: Write) {
        store.writer().store("press", write).unwrap().unwrap();
    }

    /// Somebody is ready for a step, and the run comes.
    fn step(store: &Store, trial: i64, plan: &Plan, attempt: u32) {
        let step = steps(plan)[attempt as usize - 1].clone();
        let tags = InForce {
            setup: Some(step.setup.clone()),
            tool: Some(step.tool.clone()),
            attempt: Some(Attempt { trial: plan.name.clone(), step: step.number, attempt }),
            ..InForce::default()
        };
        let said = Said::Ready(Go { go: attempt, step });
        put(store, Write::TrialEntry { trial, utc_ns: 0, who: "ana".into(), said });
        let dial =
            Dial { unit: DialUnit::Kn, piston_area: None, resolution: 0.1, range_kn: None, correction: None };
        let meaning = dial.read(80.0, None).unwrap();
        let reading = Reading::new(dial, (80.0, DialUnit::Kn), meaning, ReadingOf::Held, "ana".into());
        put(store, Write::Reading { utc_ns: 0, reading: Box::new(ByHand::new(reading, tags)) });
    }

    /// Lines and the number of questions that took.
    fn ask(known: &TrialLines, store: &Store) -> (Vec<(String, usize, Stands)>, u32) {
        let reader = store.readers().reader().unwrap();
        let lines = known.read(&reader, None).unwrap();
        let told = lines.into_iter().map(|l| (l.line.trial, l.line.steps_done, l.line.standing)).collect();
        (told, reader.asked())
    }

    #[test]
    fn the_list_of_trials_takes_three_questions_and_one_where_nothing_is_new() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let known = TrialLines::default();
        for trial in 1..=20_i64 {
            let plan = plan(&format!("t{trial}"), trial as u64);
            put(&store, Write::Trial { utc_ns: 0, who: "ana".into(), plan: Box::new(plan.clone()) });
            for attempt in 1..=(trial % 4) as u32 {
                step(&store, trial, &plan, attempt);
            }
            if [1, 20].contains(&trial) {
                assert_eq!(ask(&TrialLines::default(), &store).1, 3, "with {trial} trials");
            }
        }
        let (told, asked) = ask(&known, &store);
        assert_eq!((told.len(), asked), (20, 3));
        assert_eq!(ask(&known, &store), (told, 1), "nothing was stored meanwhile");
        // A run of one trial, and what is said of a run, are seen at once.
        step(&store, 20, &plan("t20", 20), 1);
        let (told, asked) = ask(&known, &store);
        assert_eq!((&told[0], asked), (&("t20".to_owned(), 1, Stands::Next), 3));
        let correct = |correction: Correction| {
            let (who, why) = ("ana".to_owned(), "slipped".to_owned());
            put(&store, Write::Correct { run: RunId(1), utc_ns: 1, who, why, correction });
            ask(&known, &store)
        };
        let (told, asked) = correct(Correction::Exclude);
        assert_eq!((&told[19], asked), (&("t1".to_owned(), 0, Stands::Next), 4), "which trials, and the one");
        assert_eq!(ask(&known, &store), (told, 1), "all others were looked at");
        let (told, asked) = correct(Correction::Restore);
        assert_eq!((&told[19], asked), (&("t1".to_owned(), 1, Stands::Next), 4));
        // In short and at length a trial stands alike.
        let reader = store.readers().reader().unwrap();
        for (name, steps_done, standing) in told {
            let found = load(&reader, &name).unwrap().progress();
            assert_eq!((found.done.len(), Stands::from(&found.standing)), (steps_done, standing), "{name}");
        }
    }
}
