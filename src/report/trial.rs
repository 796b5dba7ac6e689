//! The report of a trial, in the order in which ISO/IEC 17025 section 7.8 asks: what, who, when, how, under which
//! conditions, results with uncertainty, deviations, statements with their rule, what they hold for.
//!
//! The order is from memory of the standard. It is a record of a workshop and no certificate of a laboratory, which
//! it says. Must not know where anything was stored, nor what day it is.

use super::html::Document;
use super::units::Units;
use super::{trial_conditions, trial_results};
use boltscribe_analysis::compare::{Comparison, PieceEffects, Totals};
use boltscribe_analysis::metrology::KeptCalibration;
use boltscribe_analysis::results::Measure;
use boltscribe_analysis::trial::{Drawing, Fresh, Order, Plan};
use boltscribe_model::setups::{TestBolt, Tool};
use boltscribe_store::{RunLine, TrialRow};
use jiff::civil::Date;

/// What is told of the occasion and stands in no store.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Letterhead {
    /// Who tested, with the address.
    pub laboratory: Option<String>,
    /// For whom.
    pub customer: Option<String>,
    /// Who answers for the report.
    pub authorised_by: Option<String>,
    /// Anything else.
    pub remark: Option<String>,
}

/// A run of the trial as the report lists it.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// All its figures.
    pub line: RunLine,
    /// The figure that is compared, kN.
    pub value_kn: Option<f64>,
    /// Why it does not count.
    pub excluded: Option<String>,
    /// It warmed the rig.
    pub warm_up: bool,
}

/// Mean tension and torque of one tool with one setup.
#[derive(Clone, Debug, PartialEq)]
pub struct Mean {
    /// The tool.
    pub tool: String,
    /// The setup.
    pub setup: String,
    /// Runs that count.
    pub runs: usize,
    /// Their mean, kN.
    pub tension_kn: f64,
    /// SD of one run, kN; none for one run.
    pub sd_kn: Option<f64>,
    /// Expanded uncertainty of the mean with its coverage factor; none without a calibration against a reference.
    pub expanded_kn: Option<(f64, f64)>,
    /// Equivalent torque, N·m; none without a bolt factor.
    pub torque_nm: Option<f64>,
    /// Its expanded uncertainty; none where the factor was not measured.
    pub torque_expanded_nm: Option<(f64, f64)>,
}

/// One run's trace beside others.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// The tool.
    pub tool: String,
    /// What it is.
    pub name: String,
    /// Seconds after the first blow, kN.
    pub points: Vec<(f64, f64)>,
}

/// Whether a tool meets a limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Statement {
    /// The tool.
    pub tool: String,
    /// The rule and the figures, in words.
    pub words: String,
    /// The decision.
    pub decision: &'static str,
    /// Probability that the true value meets the limit; none where that is not known.
    pub probability: Option<f64>,
}

/// What was said of the trial while it went on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// ISO 8601.
    pub utc: String,
    /// Who.
    pub who: String,
    /// What.
    pub what: String,
}

/// All that a report is made from.
pub struct Sheet<'a> {
    /// The plan, with who made it and when.
    pub row: &'a TrialRow,
    /// What was told of the occasion.
    pub letterhead: &'a Letterhead,
    /// The day on which it is made.
    pub today: Date,
    /// SHA-256 of the runs' figures.
    pub digest: &'a str,
    /// Units of tensions and torques.
    pub units: Units,
    /// Risk of a wrong verdict.
    pub alpha: f64,
    /// What is compared.
    pub measure: Measure,
    /// The gate, where it is one.
    pub gate_s: Option<f64>,
    /// How far it is.
    pub standing: &'a str,
    /// How the warm-up went.
    pub warm_up: Option<String>,
    /// In time order.
    pub runs: &'a [Run],
    /// Tools as the shelf has them.
    pub tools: &'a [Tool],
    /// Setups with their pieces.
    pub chains: &'a [(String, Vec<String>)],
    /// The test bolt.
    pub bolt: Option<&'a TestBolt>,
    /// Calibrations of the runs: the name, and what is kept of it.
    pub calibrations: &'a [(String, Option<KeptCalibration>)],
    /// What was said.
    pub said: &'a [Said],
    /// The comparison, or why there is none.
    pub compared: Result<(&'a Comparison, &'a Totals), &'a str>,
    /// The same runs by another figure.
    pub beside: Option<(&'static str, &'a Comparison)>,
    /// What pieces do, or why that is not known.
    pub pieces: Result<&'a PieceEffects, &'a str>,
    /// Means.
    pub means: &'a [Mean],
    /// Traces.
    pub traces: &'a [Trace],
    /// Statements of conformity.
    pub statements: &'a [Statement],
}

/// The report.
#[must_use]
pub fn html(sheet: &Sheet<'_>) -> String {
    let mut document = Document::new(&format!("Trial {}", sheet.row.plan.name));
    if sheet.runs.iter().any(|run| run.line.simulated) {
        document.note(
            "Simulated: these runs come from a virtual rig. No number here was measured on a real tool.",
        );
    }
    if sheet.standing != "done" {
        document.note(&format!("The trial is not finished: it is {}.", sheet.standing));
    }
    who_and_when(&mut document, sheet);
    what(&mut document, sheet);
    method(&mut document, sheet);
    trial_conditions::write(&mut document, sheet);
    trial_results::write(&mut document, sheet);
    deviations(&mut document, sheet);
    conformity(&mut document, sheet);
    holds_for(&mut document, sheet);
    document.finish()
}

pub(super) fn told(text: Option<&String>) -> String {
    text.map_or_else(|| "not told".to_owned(), Clone::clone)
}

fn who_and_when(document: &mut Document, sheet: &Sheet<'_>) {
    let letterhead = sheet.letterhead;
    let ends = sheet.runs.first().zip(sheet.runs.last());
    let when = |pick: fn((&Run, &Run)) -> String| ends.map_or_else(|| "no run yet".to_owned(), pick);
    document.section("Who and when", |d| {
        d.facts(&[
            ("laboratory", told(letterhead.laboratory.as_ref())),
            ("customer", told(letterhead.customer.as_ref())),
            ("trial", sheet.row.plan.name.clone()),
            ("SHA-256 of its runs", sheet.digest.to_owned()),
            ("planned by", sheet.row.who.clone()),
            ("first run", when(|(first, _)| first.line.utc.clone())),
            ("last run", when(|(_, last)| last.line.utc.clone())),
            ("report made on", sheet.today.to_string()),
            ("authorised by", told(letterhead.authorised_by.as_ref())),
        ]);
        if let Some(remark) = &letterhead.remark {
            d.paragraph(remark);
        }
        d.paragraph("A record of the workshop that made it, not a report of an accredited laboratory.");
    });
}

fn what(document: &mut Document, sheet: &Sheet<'_>) {
    document.section("What was tested", |d| {
        let tools: Vec<Vec<String>> = sheet
            .tools
            .iter()
            .map(|tool| {
                vec![
                    tool.name.clone(),
                    told(tool.class.as_ref()),
                    told(tool.serial.as_ref()),
                    tool.anvil.to_string(),
                    tool.source.to_string(),
                ]
            })
            .collect();
        d.table("Tools.", &["tool", "class", "serial", "anvil", "source"], &tools);
        let setups: Vec<Vec<String>> = sheet
            .chains
            .iter()
            .map(|(name, pieces)| {
                let base = if *name == sheet.row.plan.baseline { "baseline, 100 %" } else { "compared" };
                vec![name.clone(), pieces.join(" + "), base.to_owned()]
            })
            .collect();
        d.table("Setups: pieces from the tool to the nut.", &["setup", "pieces", "role"], &setups);
    });
}

/// The figure in words.
pub(super) fn figure_words(measure: Measure, gate_s: Option<f64>) -> String {
    match (measure, gate_s) {
        (Measure::Gate, Some(after)) => format!("the tension {after} s after the first blow"),
        (Measure::Gate, None) => "the tension at the first gate after the first blow".to_owned(),
        (Measure::Held, _) => "the settled tension after the last blow".to_owned(),
        (Measure::Peak, _) => "the greatest filtered tension".to_owned(),
        (Measure::Plateau, _) => "the tension that the run would have come to, fitted".to_owned(),
    }
}

fn order_words(plan: &Plan) -> String {
    let order = match plan.order {
        Order::Blocks => "in random blocks, each setup once a block",
        Order::LatinSquare if plan.drawing() == Drawing::Second => {
            "in a Latin square in which each setup follows each other equally often"
        }
        Order::LatinSquare => "in a Latin square",
    };
    let every = match (plan.baseline_every, plan.drawing()) {
        (Some(k), _) => format!("at start, end and after every {k} runs"),
        (None, Drawing::First) => "at start and end".to_owned(),
        (None, Drawing::Second) => "at start, end and evenly in between".to_owned(),
    };
    format!(
        "{order}; drawn from seed {}; baseline {every}; {} repeats of each setup and tool",
        plan.seed, plan.repeats
    )
}

fn method(document: &mut Document, sheet: &Sheet<'_>) {
    let plan = &sheet.row.plan;
    document.section("Method", |d| {
        d.paragraph(&format!(
            "A test bolt and nut clamp a load cell; the tool drives the nut; the bolt's tension is the tool's output. \
             Each run was found, timed and measured by the recorder, which compared {}. Setups were changed between \
             runs, so that warming and drift fall on all of them alike.",
            figure_words(sheet.measure, sheet.gate_s)
        ));
        let fresh = match plan.fresh {
            Fresh::No => "not asked for".to_owned(),
            Fresh::EachRun => "before each run".to_owned(),
            Fresh::EachSetup => "before each change of setup".to_owned(),
        };
        d.facts(&[
            ("order", order_words(plan)),
            ("warm-up", sheet.warm_up.clone().unwrap_or_else(|| "none was planned".to_owned())),
            ("rest between runs", format!("{} s", plan.rest_s)),
            ("fresh source", fresh),
        ]);
        if let Ok((found, _)) = sheet.compared {
            d.paragraph(&format!(
                "Percents are ratios of geometric means: least squares on the logarithm of the figure, with the setups of \
                 each tool and, for the rig, a drift ({}) fitted together. Limits hold each percent with {} % confidence by \
                 Student's t. A verdict takes the p adjusted for all setups of a tool compared with one baseline \
                 (Dunnett), at {} %; {}.",
                found.drift.name(),
                100.0 * (1.0 - found.alpha),
                100.0 * found.alpha,
                if found.arrangement.risk_holds() {
                    "that is the risk of a wrong one"
                } else {
                    "how often one is wrong is not promised for this order of runs: see the notes"
                }
            ));
        }
    });
}

fn deviations(document: &mut Document, sheet: &Sheet<'_>) {
    let left_out: Vec<Vec<String>> = sheet
        .runs
        .iter()
        .filter(|run| !run.warm_up)
        .filter_map(|run| {
            let why = run.excluded.clone()?;
            let of = |text: &Option<String>| text.clone().unwrap_or_else(|| "none".to_owned());
            Some(vec![run.line.id.0.to_string(), of(&run.line.setup), of(&run.line.tool), why])
        })
        .collect();
    document.section("Deviations from the plan", |d| {
        if left_out.is_empty() && sheet.said.is_empty() {
            d.paragraph("None: each step was taken by its first run.");
        }
        if !left_out.is_empty() {
            d.table("Runs that do not count, with why.", &["run", "setup", "tool", "why"], &left_out);
        }
        if !sheet.said.is_empty() {
            let rows: Vec<Vec<String>> = sheet
                .said
                .iter()
                .map(|said| vec![said.utc.clone(), said.who.clone(), said.what.clone()])
                .collect();
            d.table("What was said while it went on.", &["when (UTC)", "who", "what"], &rows);
        }
    });
}

fn conformity(document: &mut Document, sheet: &Sheet<'_>) {
    document.section("Statement of conformity", |d| {
        if sheet.statements.is_empty() {
            d.paragraph("None was asked for: no limit stands in the settings for these tools' classes.");
            return;
        }
        let rows: Vec<Vec<String>> = sheet
            .statements
            .iter()
            .map(|s| {
                let probability = s.probability.map_or_else(|| "–".to_owned(), |p| format!("{:.1} %", 100.0 * p));
                vec![s.tool.clone(), s.words.clone(), s.decision.to_owned(), probability]
            })
            .collect();
        d.table(
            "Decision rule: guarded acceptance (JCGM 106:2012, section 8.3.2). A tool conforms only if its figure lies \
             inside the limit by more than the guard band, which keeps the risk of a wrong yes at 5 % or less; it does \
             not conform if it lies outside by more than that; in between it stays undecided.",
            &["tool", "limit and figure", "decision", "probability of conformity"],
            &rows,
        );
    });
}

fn holds_for(document: &mut Document, sheet: &Sheet<'_>) {
    document.section("What it holds for", |d| {
        d.paragraph(
            "The results relate only to the tools and pieces that were tested, on this rig, with this test bolt, on these \
             days. What a calibration brings stands in the total limits; how another bolt, another joint or another day \
             would differ does not.",
        );
        if sheet.means.iter().any(|mean| mean.torque_nm.is_some()) {
            d.paragraph(
                "Equivalent torque is the steady torque that would give the same tension by the bolt's factor. It is not \
                 what the tool delivers blow by blow.",
            );
        }
        d.note(
            "A stretched bolt stores energy: stay out of its line, wear eye and hearing protection, never pass its allowed \
             tension, follow the makers' instructions and local rules. Results compare tools on this rig and are no basis \
             for tightening a real connection, which is for qualified people and the applicable standard.",
        );
    });
}

#[cfg(test)]
#[path = "trial_tests.rs"]
mod tests;
