//! `calibrate keep`, `list`, `show` and `use`: calibrations against a reference in the store.
//!
//! The form is read here, so that a slip is told with its line; the line is made by whoever keeps it.

use super::super::context::{Context, who};
use super::super::door::segment;
use super::super::error::CliError;
use super::super::output::{Cell, Format, Rows, print, print_text, say};
use super::fit::{bad, read};
use axum::http::Method;
use boltscribe_analysis::metrology::{KeptLoad, Reference, Taken};
use boltscribe_tables::files::read_loads;
use jiff::civil::Date;
use serde_json::{Value, json};
use std::path::PathBuf;

/// Options of `calibrate keep`.
#[derive(Clone, Debug, clap::Args)]
#[command(
    before_help = "Example:\n  boltscribe calibrate keep cell-3-2026 cell-3.csv --degree 2 --on 2026-05-04 --valid-until 2027-05-03 \
                   --standard \"reference cell 7\" --certificate K-0815 --uncertainty-percent 0.12"
)]
pub struct Keep {
    /// Its name; it means this line for ever.
    pub name: String,
    /// CSV with series,direction,reference_kN (or reference_lbf),counts[,position_deg], as for `calibrate fit`.
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Degree of the line, 1 to 3.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub degree: usize,
    /// The day of the calibration, such as 2026-05-04.
    #[arg(long, value_name = "DAY")]
    pub on: Date,
    /// Who calibrated (default: who types this).
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Last day on which it holds; runs are flagged `expired` after it.
    #[arg(long, value_name = "DAY")]
    pub valid_until: Option<Date>,
    /// Reference standard: kind and serial number.
    #[arg(long)]
    pub standard: String,
    /// Number of its certificate.
    #[arg(long)]
    pub certificate: String,
    /// Expanded uncertainty of the reference force, percent of the load.
    #[arg(long, value_name = "PERCENT")]
    pub uncertainty_percent: f64,
    /// Coverage factor of that.
    #[arg(long, value_name = "K", default_value_t = 2.0)]
    pub coverage_factor: f64,
    /// Last day on which the certificate of the standard holds.
    #[arg(long, value_name = "DAY")]
    pub standard_valid_until: Option<Date>,
    /// What was calibrated: serial numbers of cell and amplifier.
    #[arg(long)]
    pub item: Option<String>,
    /// Air temperature, °C.
    #[arg(long = "temperature-C", value_name = "C", allow_negative_numbers = true)]
    pub temperature_c: Option<f64>,
    /// Relative humidity, percent.
    #[arg(long, value_name = "PERCENT")]
    pub humidity_percent: Option<f64>,
    /// Anything else.
    #[arg(long)]
    pub note: Option<String>,
    /// Least and greatest count the converter gives; others are refused.
    #[arg(long, value_name = "LOW,HIGH", value_delimiter = ',', allow_hyphen_values = true)]
    pub counts_range: Vec<f64>,
    /// Who types this (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

/// Keeps a calibration.
///
/// # Errors
/// A file that does not fit, circumstances that cannot be, a name that is taken.
pub async fn keep(keep: &Keep, context: &Context) -> Result<(), CliError> {
    let who = who(keep.who.as_deref())?;
    let range = match keep.counts_range[..] {
        [low, high] => Some((low, high)),
        _ => None,
    };
    let file = read_loads(&read(&keep.file)?, range).map_err(|error| bad(&keep.file, error))?;
    let loads = file
        .loads
        .iter()
        .map(|load| KeptLoad {
            series: load.series.clone(),
            up: load.up,
            reference_kn: load.reference_kn.to_f64(),
            counts: load.counts.to_f64(),
            position_deg: load.position_deg,
        })
        .collect();
    let taken = Taken {
        name: keep.name.clone(),
        degree: keep.degree,
        loads,
        reference: Reference {
            standard: keep.standard.clone(),
            certificate: keep.certificate.clone(),
            uncertainty_percent: keep.uncertainty_percent,
            coverage_factor: keep.coverage_factor,
            valid_until: keep.standard_valid_until,
        },
        performed_on: keep.on,
        performed_by: keep.by.clone().unwrap_or_else(|| who.clone()),
        valid_until: keep.valid_until,
        item: keep.item.clone(),
        temperature_c: keep.temperature_c,
        humidity_percent: keep.humidity_percent,
        note: keep.note.clone(),
    };
    let body = json!({ "who": who, "calibration": taken });
    let answer = context.door.change(Method::POST, "calibrations", &body).await?;
    print(context.format, &answer, &rows(std::slice::from_ref(&answer)))?;
    if context.format == Format::Table {
        say(&format!("`boltscribe calibrate use {}` puts it in force at a rig", keep.name));
    }
    Ok(())
}

fn rows(all: &[Value]) -> Rows {
    let mut rows = Rows::new(&[
        "calibration",
        "performed_on",
        "valid_until",
        "standard",
        "degree",
        "residual_sd_kN",
        "llf_kN",
        "range_kN",
        "in_use_at",
    ]);
    for one in all {
        let taken = &one["taken"];
        let until = taken["valid_until"]
            .as_str()
            .map(|day| if one["expired"] == true { format!("{day} (expired)") } else { day.to_owned() });
        let rigs: Vec<&str> =
            one["rigs"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
        rows.rows.push(vec![
            Cell::text_of(taken, "name"),
            Cell::text_of(taken, "performed_on"),
            Cell::text(until.as_deref()),
            Cell::text_of(&taken["reference"], "standard"),
            Cell::number_of(taken, "degree", 0),
            Cell::number_of(one, "residual_sd_kN", 4),
            Cell::number_of(one, "llf_kN", 4),
            Cell::number_of(&one["line"], "range_kN", 1),
            Cell::text(Some(rigs.join(", ")).filter(|text| !text.is_empty()).as_deref()),
        ]);
    }
    rows
}

/// Lists those that are kept.
///
/// # Errors
/// The door's.
pub async fn list(context: &Context) -> Result<(), CliError> {
    let (document, all) = context.list("calibrations", "calibrations").await?;
    print(context.format, &document, &rows(&all))
}

/// Shows one.
///
/// # Errors
/// None of this name.
pub async fn show(name: &str, context: &Context) -> Result<(), CliError> {
    let document = context.door.get(&format!("calibrations/{}", segment(name))).await?;
    print(context.format, &document, &rows(std::slice::from_ref(&document)))?;
    if context.format == Format::Table {
        print_text(&circumstances(&document))?;
    }
    Ok(())
}

fn circumstances(document: &Value) -> String {
    let (taken, reference) = (&document["taken"], &document["taken"]["reference"]);
    let word = |value: &Value| match value {
        Value::Null => "not told".to_owned(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    let coefficients: Vec<String> = document["line"]["coefficients_kN"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|c| format!("{:e}", c.as_f64().unwrap_or(f64::NAN)))
        .collect();
    let lines = [
        ("coefficients, kN by powers of counts", coefficients.join(", ")),
        ("loads", taken["loads"].as_array().map_or(0, Vec::len).to_string()),
        ("item", word(&taken["item"])),
        ("certificate of the standard", word(&reference["certificate"])),
        (
            "its uncertainty",
            format!(
                "{} % (k = {})",
                word(&reference["uncertainty_percent"]),
                word(&reference["coverage_factor"])
            ),
        ),
        ("it holds until", word(&reference["valid_until"])),
        ("performed by", word(&taken["performed_by"])),
        ("temperature, °C", word(&taken["temperature_C"])),
        ("humidity, %", word(&taken["humidity_percent"])),
        ("note", word(&taken["note"])),
        ("kept by", word(&document["who"])),
    ];
    lines.iter().map(|(what, said)| format!("{what:<38}{said}\n")).collect()
}

/// Puts one in force.
///
/// # Errors
/// None of this name, a run going on.
pub async fn put_in_force(
    name: &str,
    rig: Option<&str>,
    by: Option<&str>,
    context: &Context,
) -> Result<(), CliError> {
    let rig = context.rig_or_only(rig).await?;
    let path = format!("rigs/{}/calibrate", segment(&rig));
    let answer = context.door.change(Method::POST, &path, &json!({ "who": who(by)?, "name": name })).await?;
    let mut rows = Rows::new(&["rig", "calibration"]);
    rows.rows.push(vec![Cell::Text(rig), Cell::Text(name.to_owned())]);
    print(context.format, &answer, &rows)?;
    if context.format == Format::Table {
        if answer["expired"] == true {
            say("it has expired: runs are flagged so");
        }
        say("the zero is to be taken anew: `boltscribe rig zero`");
        if answer["reply"] == "at-next-start" {
            say("no daemon runs: it is taken up at the next start of boltscribed");
        }
    }
    Ok(())
}
