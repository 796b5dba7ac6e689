//! `setup use` and `setup show`: what is in force on a rig.
//!
//! Names are resolved to figures by the API. Wherever the test bolt is shown, so is its allowed tension, or that
//! none is set. Must not know whether a daemon or the store answers.

use super::source::State;
use crate::caution;
use crate::context::{Context, who};
use crate::door::segment;
use crate::error::CliError;
use crate::output::{Cell, Format, Rows, print, say};
use axum::http::Method;
use clap::Args;
use serde_json::{Value, json};

/// Options of `setup use`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:
  boltscribe setup use ext75 --rig bench --tool wrench-1 --bolt m20-a --battery b3 --rested-V 19.8 --fresh
  boltscribe setup use direct --tool wrench-2 --bolt m20-a --air-kPa 620
  boltscribe setup use --no-tool      (loads by hand or by a press: such runs are kept and count nowhere)
")]
pub struct Use {
    /// Name of the setup (a chain on the shelf).
    #[arg(required_unless_present = "no_tool", conflicts_with = "no_tool")]
    pub name: Option<String>,
    /// No tool is coupled: what loads the bolt now counts nowhere, until a setup is used again.
    #[arg(long, conflicts_with = "tool")]
    pub no_tool: bool,
    /// The rig; may be left out where there is only one.
    #[arg(long)]
    pub rig: Option<String>,
    /// The tool.
    #[arg(long)]
    pub tool: Option<String>,
    /// The test bolt.
    #[arg(long)]
    pub bolt: Option<String>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub source: State,
    /// Who does it (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

/// Options of `setup show`.
#[derive(Debug, Args)]
#[command(before_help = "Examples:\n  boltscribe setup show\n  boltscribe setup show --rig bench\n")]
pub struct Show {
    /// The rig; all where left out.
    #[arg(long)]
    pub rig: Option<String>,
}

/// Puts a setup in force and shows what every later run carries.
///
/// # Errors
/// An unknown name, pieces that do not fit the tool, or a rig that does not answer.
pub async fn put_in_force(usage: &Use, context: &Context) -> Result<(), CliError> {
    let rig = context.rig_or_only(usage.rig.as_deref()).await?;
    let body = json!({
        "setup": usage.name,
        "tool": usage.tool,
        "bolt": usage.bolt,
        "source": usage.source.read(),
        "no_tool": usage.no_tool.then_some(true),
        "who": who(usage.who.as_deref())?,
    });
    let path = format!("rigs/{}/use", segment(&rig));
    let answer = context.door.change(Method::POST, &path, &body).await?;
    let in_force = if answer["in_force"].is_object() { &answer["in_force"] } else { &answer };
    print(context.format, &answer, &rows(&[(&rig, in_force)]))?;
    if context.format == Format::Table {
        if !context.door.is_daemon() {
            say("no boltscribed runs: this is in force from its next start");
        }
        if in_force["no_tool"] == true {
            say(
                "no tool coupled: runs are kept and count nowhere, until `setup use NAME` says what is coupled",
            );
        }
        if in_force["bolt"]["allowed_kN"].is_null() {
            say("no limit set: the test bolt has no allowed tension, so no run can be checked against it");
        }
    }
    caution::show(context.format);
    Ok(())
}

/// Shows what is in force.
///
/// # Errors
/// Nobody answers, or an unknown rig.
pub async fn show(show: &Show, context: &Context) -> Result<(), CliError> {
    let (_, rigs) = context.list("rigs", "rigs").await?;
    let named = |rig: &&Value| show.rig.as_deref().is_none_or(|name| rig["rig"] == name);
    let chosen: Vec<&Value> = rigs.iter().filter(named).collect();
    if let (Some(name), true) = (&show.rig, chosen.is_empty()) {
        return Err(CliError::No {
            what: format!("cannot find the rig '{name}'"),
            hint: Some("see `boltscribe rig list`".into()),
        });
    }
    let pairs: Vec<(&str, &Value)> =
        chosen.iter().map(|r| (r["rig"].as_str().unwrap_or_default(), &r["in_force"])).collect();
    let documents: Vec<Value> =
        pairs.iter().map(|(rig, in_force)| json!({ "rig": rig, "in_force": in_force })).collect();
    print(context.format, &json!({ "rigs": documents }), &rows(&pairs))?;
    caution::show(context.format);
    Ok(())
}

fn rows(pairs: &[(&str, &Value)]) -> Rows {
    let mut rows =
        Rows::new(&["rig", "setup", "contacts", "tool", "source", "bolt", "allowed_kN", "factor_N_per_Nm"]);
    for (rig, in_force) in pairs {
        let bolt = &in_force["bolt"];
        let allowed = if bolt["allowed_kN"].is_null() {
            Cell::Text("no limit set".into())
        } else {
            Cell::number_of(bolt, "allowed_kN", 1)
        };
        rows.rows.push(vec![
            Cell::Text((*rig).to_owned()),
            setup_words(in_force),
            Cell::number_of(in_force, "contacts", 0),
            Cell::text_of(in_force, "tool"),
            source_words(&in_force["source"]),
            Cell::text_of(bolt, "name"),
            allowed,
            Cell::number_of(bolt, "factor_N_per_Nm", 2),
        ]);
    }
    rows
}

fn setup_words(in_force: &Value) -> Cell {
    if in_force["no_tool"] == true {
        return Cell::Text("no tool coupled".into());
    }
    Cell::text_of(in_force, "setup")
}

/// The state of a source in a few words.
#[must_use]
pub fn source_words(source: &Value) -> Cell {
    let Some(kind) = source["kind"].as_str() else {
        return Cell::None;
    };
    let mut words = vec![kind.to_owned()];
    if let Some(id) = source["id"].as_str() {
        words.push(id.to_owned());
    }
    for (key, unit) in [("rested_v", "V rested"), ("dynamic_kPa", "kPa"), ("voltage_v", "V")] {
        if let Some(value) = source[key].as_f64() {
            words.push(format!("{value} {unit}"));
        }
    }
    match source["fresh"].as_bool() {
        Some(true) => words.push("fresh".to_owned()),
        Some(false) => words.push("not fresh".to_owned()),
        None => {}
    }
    Cell::Text(words.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use boltscribe_model::control::SourceState;

    #[test]
    fn a_source_reads_back_in_words_with_its_units() {
        let battery = SourceState::Battery { id: "b3".into(), rested_v: Some(19.8), fresh: Some(true) };
        let value = serde_json::to_value(battery).unwrap();
        assert_eq!(source_words(&value), Cell::Text("battery b3 19.8 V rested fresh".into()));
        let air = serde_json::to_value(SourceState::Air { dynamic_kpa: Some(620.0) }).unwrap();
        assert_eq!(source_words(&air), Cell::Text("air 620 kPa".into()));
    }
}
