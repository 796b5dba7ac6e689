//! `rig add`: a rig from options, or guided at a terminal; `rig remove` takes it away.
//!
//! The daemon checks the document, writes the rig's file and takes the rig up at once.

use super::super::context::{Context, who};
use super::super::door::segment;
use super::super::error::CliError;
use super::super::figures::Figures;
use super::super::output::{Cell, Rows, print, say};
use super::dial::DialArgs;
use super::guide;
use axum::http::Method;
use boltscribe_model::constants::Calibration;
use clap::ValueEnum;
use serde_json::{Map, Value, json};
use std::io::IsTerminal;

/// How a rig's amplifier talks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Instrument {
    /// Numbers as lines of text.
    Lines,
    /// The protocol of firmware-protocol/SPEC.md.
    Framed,
    /// None: a dial that a person reads after each run.
    Typed,
}

/// A rig as typed.
#[derive(Clone, Debug, clap::Args)]
pub struct Add {
    /// Its name: a-z, 0-9 and inner hyphens.
    pub name: Option<String>,
    /// Path of the port, as `rig ports` shows it.
    #[arg(long)]
    pub port: Option<String>,
    /// How the amplifier talks.
    #[arg(long, value_enum)]
    pub instrument: Option<Instrument>,
    /// Bits a second (default 115200).
    #[arg(long)]
    pub baud: Option<u32>,
    /// Samples a second: asked of a framed device, nominal for lines.
    #[arg(long, value_name = "HZ")]
    pub rate_hz: Option<f64>,
    /// Full range of the cell, kN.
    #[arg(long = "range-kN", value_name = "KN")]
    pub range_kn: Option<f64>,
    /// Lines: text of a line with {value}, {tick}, {skip}.
    #[arg(long)]
    pub pattern: Option<String>,
    /// Lines with {tick}: ticks a second.
    #[arg(long, value_name = "HZ")]
    pub tick_hz: Option<f64>,
    /// Lines with {tick}: bits after which it wraps.
    #[arg(long)]
    pub tick_bits: Option<u8>,
    /// Lines: decimals of a value.
    #[arg(long)]
    pub decimals: Option<u8>,
    /// Smallest code of the converter.
    #[arg(long, allow_negative_numbers = true)]
    pub count_min: Option<i32>,
    /// Largest code of the converter.
    #[arg(long, allow_negative_numbers = true)]
    pub count_max: Option<i32>,
    /// Name of the nominal calibration made from the figures below (default: NAME data sheet).
    #[arg(long, value_name = "ID")]
    pub calibration: Option<String>,
    #[command(flatten)]
    /// A dial, where there is no amplifier.
    pub dial: DialArgs,
    #[command(flatten)]
    /// Figures of that calibration.
    pub figures: Figures,
    /// Who does it (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

impl Add {
    /// The calibration that the options give.
    ///
    /// # Errors
    /// Figures that do not make one.
    pub fn line(&self, name: &str) -> Result<Option<Calibration>, CliError> {
        let id = self.calibration.clone().unwrap_or_else(|| format!("{name} data sheet"));
        self.figures.calibration(&id, self.range_kn)
    }

    /// The rig's document, with the keys of `[[rig]]`.
    #[must_use]
    pub fn document(&self, calibration: Option<&Calibration>) -> Value {
        let mut rig = Map::new();
        let mut put = |key: &str, value: Value| {
            if !value.is_null() {
                rig.insert(key.to_owned(), value);
            }
        };
        put("name", json!(self.name));
        put("port", json!(self.port));
        let instrument = self.instrument.map(|i| match i {
            Instrument::Lines => "lines",
            Instrument::Framed => "framed",
            Instrument::Typed => "typed",
        });
        put("instrument", json!(instrument));
        put("baud", json!(self.baud));
        put("rate_hz", json!(self.rate_hz));
        put("range_kN", json!(self.range_kn));
        put("pattern", json!(self.pattern));
        put("tick_hz", json!(self.tick_hz));
        put("tick_bits", json!(self.tick_bits));
        put("decimals", json!(self.decimals));
        put("count_min", json!(self.count_min));
        put("count_max", json!(self.count_max));
        for (key, value) in self.dial.keys() {
            put(key, value);
        }
        if let Some(c) = calibration {
            put(
                "calibration",
                json!({ "id": c.id, "coefficients_kN": c.coefficients_kn, "nominal": c.nominal }),
            );
        }
        Value::Object(rig)
    }
}

/// Adds a rig: asks for what is missing where a person can answer.
///
/// # Errors
/// Something is missing and nobody can be asked; the daemon refuses; the input ends.
pub async fn add(add: &Add, context: &Context) -> Result<(), CliError> {
    let missing: Vec<&str> = [
        ("NAME", add.name.is_none()),
        ("--port", add.port.is_none() && add.instrument != Some(Instrument::Typed)),
        ("--instrument", add.instrument.is_none()),
    ]
    .into_iter()
    .filter_map(|(what, missing)| missing.then_some(what))
    .collect();
    if !context.door.is_daemon() {
        return Err(CliError::No {
            what: "cannot add a rig: expected a running boltscribed, which takes it up, found none".to_owned(),
            hint: Some(
                "start boltscribed; it starts without any rig. Or write a [[rig]] table into its settings file".into(),
            ),
        });
    }
    let by = who(add.who.as_deref())?;
    if missing.is_empty() {
        let line = add.line(add.name.as_deref().unwrap_or_default())?;
        let answer = post(context, &by, &add.document(line.as_ref())).await?;
        return shown(context, &answer);
    }
    if !std::io::stdin().is_terminal() {
        return Err(CliError::usage_with(
            format!("cannot add a rig: expected {}, found none", missing.join(", ")),
            "give them as options, or run this at a terminal to be asked",
        ));
    }
    let answer = guide::run(add.clone(), &by, context).await?;
    shown(context, &answer)
}

/// Hands a rig's document to the daemon.
///
/// # Errors
/// It is refused.
pub async fn post(context: &Context, by: &str, rig: &Value) -> Result<Value, CliError> {
    context.door.change(Method::POST, "rigs", &json!({ "who": by, "rig": rig })).await
}

fn shown(context: &Context, answer: &Value) -> Result<(), CliError> {
    let mut rows = Rows::new(&["rig", "file"]);
    rows.rows.push(vec![Cell::text_of(answer, "rig"), Cell::text_of(answer, "file")]);
    print(context.format, answer, &rows)
}

/// Takes a rig away.
///
/// # Errors
/// It is refused.
pub async fn remove(context: &Context, name: &str, by: Option<&str>) -> Result<(), CliError> {
    let path = format!("rigs/{}", segment(name));
    context.door.change(Method::DELETE, &path, &json!({ "who": who(by)? })).await?;
    say(&format!("rig '{name}' is taken away; its runs stay in the store"));
    Ok(())
}
