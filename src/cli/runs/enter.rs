//! `runs enter`: a figure read from a dial becomes a run.
//!
//! The figure goes to the API as it was typed; whether it can be a reading is decided there.

use crate::caution;
use crate::context::{Context, who};
use crate::door::segment;
use crate::error::CliError;
use crate::output::{Cell, Format, Rows, print, printable, say};
use axum::http::Method;
use clap::Args;
use serde_json::{Value, json};

/// Options of `runs enter`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:
  boltscribe runs enter 81.5
  boltscribe runs enter 18300 --unit lbf --note \"pointer trembled\"
  boltscribe runs enter 96 --peak --rig press-1
")]
pub struct Enter {
    /// What the dial reads: a number with a decimal point, without its unit.
    #[arg(allow_negative_numbers = true)]
    pub reading: String,
    /// The rig; may be left out where only one has a dial.
    #[arg(long)]
    pub rig: Option<String>,
    /// Its unit, where it is not the one on the dial: kN, N, lbf, psi, bar, MPa.
    #[arg(long)]
    pub unit: Option<String>,
    /// It is the peak, which a drag pointer or a peak hold has kept; else the held tension.
    #[arg(long)]
    pub peak: bool,
    /// What else there is to say.
    #[arg(long)]
    pub note: Option<String>,
    /// When it was read, such as 2026-01-31T13:00:00Z (default: now).
    #[arg(long, value_name = "TIME")]
    pub at: Option<String>,
    /// Who read it (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

/// Enters a reading.
///
/// # Errors
/// No rig with a dial, or none that can be chosen; a refusal of the API.
pub async fn run(enter: &Enter, context: &Context) -> Result<(), CliError> {
    let rig = match &enter.rig {
        Some(rig) => rig.clone(),
        None => only_dial(context).await?,
    };
    let body = json!({
        "who": who(enter.who.as_deref())?,
        "reading": enter.reading,
        "unit": enter.unit,
        "peak": enter.peak,
        "note": enter.note,
        "at": enter.at,
    });
    let run = context.door.change(Method::POST, &format!("rigs/{}/readings", segment(&rig)), &body).await?;
    print(context.format, &run, &rows(&run))?;
    // Over a limit is said whatever the format: somebody stands beside that bolt.
    for remark in run["remarks"].as_array().into_iter().flatten().filter_map(Value::as_str) {
        say(&printable(remark));
    }
    if context.format == Format::Table {
        let id = &run["id"];
        if run["setup"].is_null() {
            say(&format!("no setup was in force: `boltscribe runs tag {id} --setup NAME --why …` names it"));
        }
        say(&format!("mistyped? `boltscribe runs exclude {id} --why mistyped`, then enter it again"));
        caution::show(context.format);
    }
    Ok(())
}

/// The one rig with a dial.
async fn only_dial(context: &Context) -> Result<String, CliError> {
    let (_, rigs) = context.list("rigs", "rigs").await?;
    let names: Vec<&str> =
        rigs.iter().filter(|rig| !rig["dial"].is_null()).filter_map(|rig| rig["rig"].as_str()).collect();
    match names.as_slice() {
        [only] => Ok((*only).to_owned()),
        [] => Err(CliError::usage_with(
            "cannot enter a reading: expected a rig whose dial is read by hand, found none",
            "a dial is a rig with instrument = \"typed\" in its settings",
        )),
        several => Err(CliError::usage_with(
            format!("cannot choose a dial: expected one, found {}: {}", several.len(), several.join(", ")),
            "name the rig with --rig",
        )),
    }
}

fn rows(run: &Value) -> Rows {
    let mut rows =
        Rows::new(&["id", "utc", "rig", "setup", "tool", "bolt", "held_kN", "peak_kN", "torque_Nm", "flags"]);
    let torque = match &run["equivalent_torque_Nm"] {
        Value::Null => "equivalent_torque_peak_Nm",
        _ => "equivalent_torque_Nm",
    };
    let flags: Vec<&str> =
        run["flags"].as_array().map_or(&[][..], Vec::as_slice).iter().filter_map(Value::as_str).collect();
    let word = |key: &str| Cell::text_of(run, key);
    rows.rows.push(vec![
        word("id"),
        word("utc"),
        word("rig"),
        word("setup"),
        word("tool"),
        word("bolt"),
        Cell::number_of(run, "held_kN", 2),
        Cell::number_of(run, "peak_kN", 2),
        Cell::number_of(run, torque, 1),
        Cell::Text(flags.join(" ")),
    ]);
    rows
}
