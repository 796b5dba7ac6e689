//! `rig add` at a terminal: instrument, port, what the board prints, calibration, then the live rig: counts,
//! zero, and a push that tells the sign. A dial needs none of that: what stands on it, and its range.
//!
//! Every answer could have been an option; nothing is decided here that the operator did not see.

use super::super::ask::{Asker, number, tell};
use super::super::context::Context;
use super::super::door::segment;
use super::super::error::CliError;
use super::add::{Add, Instrument, post};
use super::live;
use axum::http::Method;
use boltscribe_analysis::metrology::{Nominal, nominal};
use boltscribe_model::constants::Calibration;
use boltscribe_model::units::Newtons;
use serde_json::{Value, json};

/// Bits a second where nobody says otherwise.
const BAUD: u32 = 115_200;

/// Asks, adds, shows; answers with what the daemon said of the added rig.
///
/// # Errors
/// The input ends, the daemon does not answer.
pub async fn run(mut add: Add, by: &str, context: &Context) -> Result<Value, CliError> {
    let mut asker = Asker::new();
    tell(
        "A new rig. Enter takes what stands in brackets; Ctrl-C ends without a change until the rig is added.\n",
    )?;
    instrument(&mut add, &mut asker).await?;
    let by_hand = add.instrument == Some(Instrument::Typed);
    if !by_hand {
        port(&mut add, &mut asker, context).await?;
    }
    match add.instrument {
        Some(Instrument::Typed) => add.dial.ask(&mut asker).await?,
        Some(Instrument::Framed) => framed(&mut add, &mut asker, context).await?,
        _ => lines(&mut add, &mut asker, context).await?,
    }
    if add.name.is_none() {
        tell("\nName. Runs and calibrations remember the rig by it.\n")?;
        add.name = Some(asker.ask("name", Some("bench-1"), |a| Ok(a.to_owned())).await?);
    }
    if add.range_kn.is_none() {
        tell("\nRange. Thresholds and warnings follow it; Enter where it is not known.\n")?;
        add.range_kn = asker.ask("full range of the cell, kN", Some("unknown"), optional).await?;
    }
    if by_hand {
        let (answer, _) = added(&mut add, None, by, &mut asker, context).await?;
        live::farewell_to_dial(&add.name.clone().unwrap_or_default(), context).await?;
        return Ok(answer);
    }
    let name = add.name.clone().unwrap_or_default();
    let line = match add.line(&name)? {
        Some(line) => Some(line),
        None => calibration(&add, &name, &mut asker).await?,
    };
    let (answer, line) = added(&mut add, line, by, &mut asker, context).await?;
    let name = add.name.clone().unwrap_or_default();
    live::counts(&name, &mut asker, context).await?;
    live::zero(&name, line.is_some(), by, &mut asker, context).await?;
    if let Some(turned) = live::push(&name, line.as_ref(), &mut asker, context).await? {
        changed(&name, &add.document(Some(&turned)), by, &mut asker, context).await?;
        tell("The sign is turned round, and the rig was taken up anew.\n")?;
        live::zero(&name, true, by, &mut asker, context).await?;
    }
    live::farewell(&name, context).await?;
    Ok(answer)
}

/// Changes the added rig; the push may count as a run, and must be over before.
async fn changed(
    name: &str,
    rig: &Value,
    by: &str,
    asker: &mut Asker,
    context: &Context,
) -> Result<(), CliError> {
    let path = format!("rigs/{}", segment(name));
    loop {
        match context.door.change(Method::PUT, &path, &json!({ "who": by, "rig": rig })).await {
            Ok(_) => return Ok(()),
            Err(CliError::Refused { detail, .. }) => {
                tell(&format!("  {detail}\n  Loosen the bolt; Enter tries again.\n"))?;
                asker.line().await?;
            }
            Err(other) => return Err(other),
        }
    }
}

fn optional(answer: &str) -> Result<Option<f64>, String> {
    match answer {
        "unknown" => Ok(None),
        other => {
            number(other).and_then(|v| if v > 0.0 { Ok(Some(v)) } else { Err("expected more than 0".into()) })
        }
    }
}

async fn port(add: &mut Add, asker: &mut Asker, context: &Context) -> Result<(), CliError> {
    while add.port.is_none() {
        let (_, ports) = context.list("ports", "ports").await?;
        tell("\nPort. Stable names first; plug the amplifier in and press Enter to look again.\n")?;
        for (n, port) in ports.iter().enumerate() {
            let path = port["path"].as_str().unwrap_or_default();
            let device = port["device"].as_str().map_or(String::new(), |d| format!("  ({d})"));
            let remark = match (port["rig"].as_str(), port["not_allowed"].as_str()) {
                (Some(rig), _) => format!("\n       taken by rig '{rig}'"),
                (None, Some(why)) => format!("\n       not allowed: {why}"),
                (None, None) => String::new(),
            };
            tell(&format!("  {}  {path}{device}{remark}\n", n + 1))?;
        }
        if ports.is_empty() {
            tell("  none found\n")?;
        }
        let chosen = asker
            .ask("number, a path, or Enter to look again", Some("again"), |answer| match answer {
                "again" => Ok(None),
                path if path.starts_with('/') => Ok(Some(path.to_owned())),
                n => match n.parse::<usize>().ok().and_then(|n| ports.get(n.wrapping_sub(1))) {
                    Some(port) => Ok(port["path"].as_str().map(str::to_owned)),
                    None => Err(format!("expected 1 to {} or a path from /, found '{n}'", ports.len())),
                },
            })
            .await?;
        add.port = chosen;
    }
    Ok(())
}

async fn instrument(add: &mut Add, asker: &mut Asker) -> Result<(), CliError> {
    if add.instrument.is_some() {
        return Ok(());
    }
    tell(
        "\nInstrument. How does the amplifier talk?\n  lines   it prints numbers as lines of text\n  \
         framed  it speaks the protocol of firmware-protocol/SPEC.md\n  \
         typed   there is none: a dial that you read after each run\n",
    )?;
    let chosen = asker
        .ask("instrument", Some("lines"), |answer| match answer {
            "lines" => Ok(Instrument::Lines),
            "framed" => Ok(Instrument::Framed),
            "typed" => Ok(Instrument::Typed),
            other => Err(format!("expected lines, framed or typed, found '{other}'")),
        })
        .await?;
    add.instrument = Some(chosen);
    Ok(())
}

async fn hear(add: &Add, baud: u32, context: &Context) -> Result<Value, CliError> {
    let framed = add.instrument == Some(Instrument::Framed);
    let body = json!({ "port": add.port, "baud": baud, "framed": framed, "for_s": 3.0 });
    context.door.change(Method::POST, "ports/hear", &body).await
}

/// Listens until the operator is content; the answer holds what was heard last.
async fn heard(add: &mut Add, asker: &mut Asker, context: &Context) -> Result<Option<Value>, CliError> {
    loop {
        let baud = add.baud.unwrap_or(BAUD);
        tell(&format!("\nListening at {baud} baud for 3 s ...\n"))?;
        let heard = match hear(add, baud, context).await {
            Ok(heard) => heard,
            Err(CliError::Refused { detail, hint, .. }) => {
                let hint = hint.map_or(String::new(), |h| format!(" ({h})"));
                tell(&format!("  {detail}{hint}\n"))?;
                Value::Null
            }
            Err(other) => return Err(other),
        };
        for line in heard["lines"].as_array().into_iter().flatten() {
            tell(&format!("  | {}\n", line.as_str().unwrap_or_default()))?;
        }
        if let Some(device) = heard["device"].as_str() {
            tell(&format!("  {device}\n"))?;
        }
        for remark in heard["remarks"].as_array().into_iter().flatten() {
            tell(&format!("  {}\n", remark.as_str().unwrap_or_default()))?;
        }
        let good = heard["device"].is_string() || heard["guess"]["pattern"].is_string();
        if !good && heard["bytes"] == 0 {
            tell("  nothing came: is it powered, does it send by itself, is the baud rate right?\n")?;
        }
        let default = if good { "go on" } else { "again" };
        let question = "go on, again, or another baud rate";
        let next = asker
            .ask(question, Some(default), |answer| match answer {
                "go on" => Ok(None),
                "again" => Ok(Some(baud)),
                n => {
                    n.parse().map(Some).map_err(|_| format!("expected go on, again or a number, found '{n}'"))
                }
            })
            .await?;
        match next {
            None => return Ok(Some(heard).filter(|h| !h.is_null())),
            Some(other) => add.baud = Some(other).filter(|b| *b != BAUD || add.baud.is_some()),
        }
    }
}

async fn framed(add: &mut Add, asker: &mut Asker, context: &Context) -> Result<(), CliError> {
    let heard = heard(add, asker, context).await?.unwrap_or_default();
    let rates: Vec<f64> =
        heard["rates_hz"].as_array().into_iter().flatten().filter_map(Value::as_f64).collect();
    if add.rate_hz.is_some() || rates.is_empty() {
        return Ok(());
    }
    let words: Vec<String> = rates.iter().map(ToString::to_string).collect();
    // Blows are seen from 1,000 samples a second on; more costs disk and tells little more.
    let usual = rates.iter().copied().filter(|r| *r >= 1000.0).fold(f64::INFINITY, f64::min);
    let usual = if usual.is_finite() { usual } else { rates.iter().copied().fold(0.0, f64::max) };
    tell(&format!("\nRate. It offers {} samples a second.\n", words.join(", ")))?;
    let chosen = asker
        .ask("samples a second", Some(&usual.to_string()), |answer| {
            let rate = number(answer)?;
            if rates.contains(&rate) {
                Ok(rate)
            } else {
                Err(format!("expected one of {}", words.join(", ")))
            }
        })
        .await?;
    add.rate_hz = Some(chosen);
    Ok(())
}

async fn lines(add: &mut Add, asker: &mut Asker, context: &Context) -> Result<(), CliError> {
    if add.pattern.is_some() {
        return Ok(());
    }
    let guess = heard(add, asker, context).await?.unwrap_or_default()["guess"].clone();
    tell("\nPattern. {value} is the reading, {tick} the board's clock, {skip} anything else.\n")?;
    let proposal = guess["pattern"].as_str().unwrap_or("{value}").to_owned();
    let pattern = asker.ask("pattern of a line", Some(&proposal), |a| Ok(a.to_owned())).await?;
    if pattern.contains("{tick}") && add.tick_hz.is_none() {
        let known = guess["tick_hz"].as_f64().map(|hz| hz.to_string());
        add.tick_hz = Some(asker.number("ticks a second", known.as_deref()).await?);
    }
    if add.decimals.is_none() {
        let seen = guess["decimals"].as_u64().unwrap_or(0).to_string();
        let decimals = asker
            .ask("decimals of the reading", Some(&seen), |a| {
                a.parse::<u8>().map_err(|_| "expected 0 to 9".into())
            })
            .await?;
        add.decimals = Some(decimals).filter(|d| *d > 0);
    }
    if add.rate_hz.is_none() {
        let seen = guess["rate_hz"].as_f64().map_or_else(|| "unknown".to_owned(), |hz| hz.to_string());
        add.rate_hz = asker.ask("lines a second, by its data sheet", Some(&seen), optional).await?;
    }
    add.pattern = Some(pattern).filter(|p| p != "{value}");
    Ok(())
}

async fn calibration(add: &Add, name: &str, asker: &mut Asker) -> Result<Option<Calibration>, CliError> {
    tell(
        "\nCalibration. Until a reference has been at the rig it is nominal: percent of baseline is sound, because the \
         gain cancels; kN are approximate.\n  sheet   from the data sheets of cell and converter\n  \
         slope   kN per count is known\n  unit    the board prints a force itself\n  \
         none    counts only, for now\n",
    )?;
    let how = asker
        .ask("calibration", Some("sheet"), |answer| match answer {
            "sheet" | "slope" | "unit" | "none" => Ok(answer.to_owned()),
            other => Err(format!("expected sheet, slope, unit or none, found '{other}'")),
        })
        .await?;
    let slope = match how.as_str() {
        "sheet" => sheet(asker).await?,
        "slope" => asker.ask("kN per count", None, not_zero).await?,
        "unit" => {
            let unit = asker.ask("unit it prints: kN, N or lbf", Some("kN"), unit_kn).await?;
            unit * libm::pow(10.0, -f64::from(add.decimals.unwrap_or(0)))
        }
        _ => return Ok(None),
    };
    let usual = format!("{name} data sheet");
    let id: String = asker.ask("name of this calibration", Some(&usual), |a| Ok(a.to_owned())).await?;
    Ok(Some(nominal::line(&id, slope, add.range_kn)))
}

fn not_zero(answer: &str) -> Result<f64, String> {
    number(answer).and_then(|v| if v == 0.0 { Err("expected a number other than 0".into()) } else { Ok(v) })
}

fn unit_kn(answer: &str) -> Result<f64, String> {
    match answer {
        "kN" => Ok(1.0),
        "N" => Ok(0.001),
        "lbf" => Ok(Newtons::from_lbf(1.0).kn()),
        other => Err(format!("expected kN, N or lbf, found '{other}'")),
    }
}

async fn sheet(asker: &mut Asker) -> Result<f64, CliError> {
    loop {
        let figures = Nominal {
            rated_kn: asker.number("rated load of the cell, kN", None).await?,
            rated_mv_per_v: asker.number("rated output, mV/V", Some("2")).await?,
            excitation_v: asker.number("excitation, V", Some("5")).await?,
            gain: asker.number("gain ahead of the converter", Some("128")).await?,
            full_scale_v: asker
                .number(
                    "input at the converter's largest code, V at gain 1 (often half the excitation)",
                    None,
                )
                .await?,
            bits: asker
                .ask("bits of the converter", Some("24"), |a| {
                    a.parse().map_err(|_| "expected 2 to 32".into())
                })
                .await?,
        };
        match figures.kn_per_count().and_then(|slope| Ok((slope, figures.full_scale_kn()?))) {
            Ok((slope, most)) => {
                tell(&format!("  {slope:.6e} kN per count; the converter ends at {most:.1} kN\n"))?;
                return Ok(slope);
            }
            Err(error) => tell(&format!("  {error}\n"))?,
        }
    }
}

/// Hands the rig over; what the daemon refuses is asked again.
async fn added(
    add: &mut Add,
    mut line: Option<Calibration>,
    by: &str,
    asker: &mut Asker,
    context: &Context,
) -> Result<(Value, Option<Calibration>), CliError> {
    loop {
        match post(context, by, &add.document(line.as_ref())).await {
            Ok(answer) => {
                let file = answer["file"].as_str().unwrap_or_default();
                tell(&format!("\nAdded, and taken up. Its file: {file}\n"))?;
                return Ok((answer, line));
            }
            Err(CliError::Refused { detail, hint, .. }) => {
                tell(&format!("  {detail}\n"))?;
                if let Some(hint) = hint {
                    tell(&format!("  {hint}\n"))?;
                }
                let name = add.name.clone().unwrap_or_default();
                add.name = Some(asker.ask("name of the rig", Some(&name), |a| Ok(a.to_owned())).await?);
                if let Some(line) = &mut line {
                    line.id =
                        asker.ask("name of the calibration", Some(&line.id), |a| Ok(a.to_owned())).await?;
                }
            }
            Err(other) => return Err(other),
        }
    }
}
