//! `rig`: the serial ports there are, a rig's zero, and its live readings.
//!
//! Shows what the API tells; must not open a port. A silent rig is never shown as up alone, and simulated
//! data is marked.

mod add;
mod dial;
mod guide;
mod live;

use super::context::{Context, who};
use super::door::segment;
use super::error::CliError;
use super::output::{Cell, Format, Rows, print, say};
use super::watch;
use axum::http::Method;
use clap::Subcommand;
use serde_json::{Value, json};

/// What can be done with rigs.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// The serial ports of this machine by stable name, and why one may not be used.
    #[command(before_help = "Examples:\n  boltscribe rig ports")]
    Ports,
    /// The rigs, the state of their lines and their readings now.
    #[command(before_help = "Examples:\n  boltscribe rig list")]
    List,
    /// Add a rig: from options, or guided at a terminal.
    #[command(
        before_help = "Examples:\n  boltscribe rig add                    asks for everything, shows live counts\n  \
                       boltscribe rig add bench-2 --port /dev/serial/by-id/usb-example --instrument lines \
                       --rate-hz 80 --range-kN 200 --kN-per-count 4.6566e-5"
    )]
    Add(Box<add::Add>),
    /// Take away a rig that was added so; its runs stay.
    #[command(before_help = "Examples:\n  boltscribe rig remove bench-2")]
    Remove {
        /// The rig.
        name: String,
        /// Who does it (default: the login name).
        #[arg(long)]
        who: Option<String>,
    },
    /// Take the present idle reading of an unloaded rig as its zero.
    #[command(before_help = "Examples:\n  boltscribe rig zero bench")]
    Zero {
        /// The rig; may be left out where there is only one.
        name: Option<String>,
        /// Who does it (default: the login name).
        #[arg(long)]
        who: Option<String>,
    },
    /// Follow one rig, or all, until stopped; JSON gives one event a line.
    #[command(before_help = "Examples:\n  boltscribe rig watch\n  boltscribe --format json rig watch bench")]
    Watch {
        /// The rig; all where left out.
        name: Option<String>,
    },
}

/// Does it.
///
/// # Errors
/// As the door and the output have them.
pub async fn run(verb: &Verb, context: &Context) -> Result<(), CliError> {
    match verb {
        Verb::Ports => ports(context).await,
        Verb::List => list(context).await,
        Verb::Add(rig) => add::add(rig, context).await,
        Verb::Remove { name, who: by } => add::remove(context, name, by.as_deref()).await,
        Verb::Zero { name, who: by } => zero(context, name.as_deref(), by.as_deref()).await,
        Verb::Watch { name } => watch::run(context, name.as_deref()).await,
    }
}

async fn ports(context: &Context) -> Result<(), CliError> {
    let (document, ports) = context.list("ports", "ports").await?;
    let mut rows = Rows::new(&["port", "device", "rig", "may_be_used"]);
    for port in &ports {
        let allowed = match port["not_allowed"].as_str() {
            None => Cell::Text("yes".into()),
            Some(why) => Cell::Text(format!("no: {why}")),
        };
        rows.rows.push(vec![
            Cell::text_of(port, "path"),
            Cell::text_of(port, "device"),
            Cell::text_of(port, "rig"),
            allowed,
        ]);
    }
    print(context.format, &document, &rows)?;
    if ports.is_empty() && context.format == Format::Table {
        say("no serial port found: plug the amplifier in, and look again");
    }
    Ok(())
}

async fn list(context: &Context) -> Result<(), CliError> {
    let (document, rigs) = context.list("rigs", "rigs").await?;
    let mut rows = Rows::new(&[
        "rig",
        "port",
        "line",
        "rate_hz",
        "tension_kN",
        "zero_kN",
        "calibration",
        "setup",
        "tool",
        "bolt",
        "remarks",
    ]);
    for rig in &rigs {
        let in_force = &rig["in_force"];
        rows.rows.push(vec![
            Cell::text_of(rig, "rig"),
            Cell::text_of(rig, "port"),
            Cell::Text(line_words(rig)),
            Cell::number_of(rig, "rate_hz", 0),
            Cell::number_of(rig, "tension_kN", 2),
            Cell::number_of(rig, "zero_kN", 2),
            Cell::text_of(rig, "calibration"),
            Cell::text_of(in_force, "setup"),
            Cell::text_of(in_force, "tool"),
            Cell::text_of(&in_force["bolt"], "name"),
            Cell::text(Some(remarks(rig)).as_deref().filter(|words| !words.is_empty())),
        ]);
    }
    print(context.format, &document, &rows)?;
    super::caution::show(context.format);
    Ok(())
}

/// What stands, and whether it is a simulation.
fn remarks(rig: &Value) -> String {
    let simulated = (rig["simulated"] == true).then_some(super::caution::SIMULATED);
    let standing = rig["standing"].as_array().into_iter().flatten().filter_map(Value::as_str);
    simulated.into_iter().chain(standing).collect::<Vec<_>>().join("; ")
}

/// The state of a rig's line in a few words.
fn line_words(rig: &Value) -> String {
    let link = rig["link"].as_str().unwrap_or("unknown");
    let detail = rig["link_detail"].as_str();
    match (link, rig["stale"] == true, detail) {
        ("up", true, Some(detail)) => format!("up, but {detail}"),
        ("up", true, None) => "up, but silent".to_owned(),
        ("by-hand", _, _) => "read by hand".to_owned(),
        ("not-served", _, _) => "no daemon runs".to_owned(),
        (link, _, Some(detail)) => format!("{link}: {detail}"),
        (link, _, None) => link.to_owned(),
    }
}

async fn zero(context: &Context, name: Option<&str>, by: Option<&str>) -> Result<(), CliError> {
    let rig = context.rig_or_only(name).await?;
    let path = format!("rigs/{}/zero", segment(&rig));
    let answer = context.door.change(Method::POST, &path, &json!({ "who": who(by)? })).await?;
    let mut rows = Rows::new(&["rig", "zero_kN"]);
    rows.rows.push(vec![Cell::Text(rig), Cell::number_of(&answer, "zero_kN", 3)]);
    print(context.format, &answer, &rows)?;
    if let Some(remark) = answer["remark"].as_str() {
        say(remark);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_silent_rig_is_never_called_up_alone() {
        assert_eq!(line_words(&json!({"link": "up", "stale": true})), "up, but silent");
        assert_eq!(line_words(&json!({"link": "up", "stale": false})), "up");
        let halted = json!({"link": "up", "stale": true, "link_detail": "no samples"});
        assert_eq!(line_words(&halted), "up, but no samples");
        assert_eq!(line_words(&json!({"link": "by-hand", "stale": false})), "read by hand");
        assert_eq!(
            line_words(&json!({"link": "down", "stale": true, "link_detail": "no such file"})),
            "down: no such file"
        );
    }
}
