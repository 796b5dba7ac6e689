//! The live half of `rig add`: counts as they come, the zero, and a push that tells the sign.
//!
//! It watches the API only. A rig that sends nothing is told and never taken for one at rest.

use super::super::ask::{Asker, tell};
use super::super::context::Context;
use super::super::door::segment;
use super::super::error::CliError;
use axum::http::Method;
use boltscribe_model::constants::Calibration;
use serde_json::{Value, json};
use std::time::Duration;
use tokio::time::sleep;

/// How often a person sees a new reading.
const SHOWN_EVERY: Duration = Duration::from_millis(250);
/// How often the push test looks.
const LOOKED_EVERY: Duration = Duration::from_millis(50);
/// Looks that make the reading at rest.
const REST_LOOKS: usize = 40;
/// Looks past the limit, one after the other, that make a push.
const PUSH_LOOKS: usize = 4;

async fn rig(name: &str, context: &Context) -> Result<Value, CliError> {
    let (_, rigs) = context.list("rigs", "rigs").await?;
    Ok(rigs.into_iter().find(|rig| rig["rig"] == name).unwrap_or_default())
}

/// Shows live counts until Enter.
///
/// # Errors
/// The input ends, the daemon does not answer.
pub async fn counts(name: &str, asker: &mut Asker, context: &Context) -> Result<(), CliError> {
    tell("\nLive. Enter goes on.\n")?;
    loop {
        let rig = rig(name, context).await?;
        let words = match (rig["counts"].as_i64(), rig["tension_kN"].as_f64()) {
            (Some(counts), Some(kn)) => format!("{counts} counts   {kn:.3} kN"),
            (Some(counts), None) => format!("{counts} counts"),
            (None, _) => match rig["link_detail"].as_str() {
                Some(detail) => format!("no reading: {detail}"),
                None => "no reading yet".to_owned(),
            },
        };
        let rate = rig["rate_hz"].as_f64().map_or(String::new(), |hz| format!("   {hz:.0} samples/s"));
        tell(&format!("\r\x1b[K  {words}{rate}"))?;
        tokio::select! {
            line = asker.line() => {
                line?;
                return tell("\n");
            }
            () = sleep(SHOWN_EVERY) => {}
        }
    }
}

/// Takes the zero when the operator says that the rig is at rest.
///
/// # Errors
/// The input ends, the daemon does not answer.
pub async fn zero(
    name: &str,
    calibrated: bool,
    by: &str,
    asker: &mut Asker,
    context: &Context,
) -> Result<(), CliError> {
    if !calibrated {
        return tell(
            "\nZero. It needs a calibration: `boltscribe calibrate nominal`, then `boltscribe rig zero`.\n",
        );
    }
    tell("\nZero. Bolt loose, nobody touching the rig, for two seconds.\n")?;
    while asker.yes("take the zero now", true).await? {
        let path = format!("rigs/{}/zero", segment(name));
        match context.door.change(Method::POST, &path, &json!({ "who": by })).await {
            Ok(answer) => {
                let zero = answer["zero_kN"].as_f64().unwrap_or_default();
                tell(&format!("  zero at {zero:.3} kN\n"))?;
                if let Some(remark) = answer["remark"].as_str() {
                    tell(&format!("  {remark}\n"))?;
                }
                return Ok(());
            }
            Err(CliError::Refused { detail, .. }) => tell(&format!("  {detail}\n"))?,
            Err(other) => return Err(other),
        }
    }
    Ok(())
}

/// Asks for a push and answers with the calibration turned round, where the reading fell and the operator
/// wants it so.
///
/// # Errors
/// The input ends, the daemon does not answer.
pub async fn push(
    name: &str,
    line: Option<&Calibration>,
    asker: &mut Asker,
    context: &Context,
) -> Result<Option<Calibration>, CliError> {
    tell("\nPush test. It tells whether the reading rises when the bolt is pulled.\n")?;
    if !asker.yes("do it", true).await? {
        return Ok(None);
    }
    tell("  Hands off for two seconds ...\n")?;
    let mut rest = looks(name, REST_LOOKS, context).await?;
    if rest.len() < REST_LOOKS / 2 {
        tell("  no readings came; `boltscribe rig watch` shows the rig\n")?;
        return Ok(None);
    }
    rest.sort_by(f64::total_cmp);
    let (low, middle, high) = (rest[0], rest[rest.len() / 2], rest[rest.len() - 1]);
    let limit = 4.0 * (high - low).max(1.0);
    tell("  Now pull: tighten the nut by hand, or load the cell a little. (Enter gives up.)\n")?;
    let Some(moved) = pushed(name, middle, limit, asker, context).await? else { return Ok(None) };
    let slope = line.map_or(1.0, |line| line.coefficients_kn[1]);
    let rises = moved * slope > 0.0;
    tell(&format!("  moved by {moved:.0} counts: tension {}\n", if rises { "rises" } else { "falls" }))?;
    match line {
        Some(line) if !rises => {
            let turn = "the reading falls when the bolt is pulled: turn the sign round";
            Ok(asker.yes(turn, true).await?.then(|| turned(line)))
        }
        None if !rises => {
            tell("  Give the calibration a negative slope when you make it.\n")?;
            Ok(None)
        }
        _ => Ok(None),
    }
}

/// The same line with the other sign, under a name of its own.
fn turned(line: &Calibration) -> Calibration {
    Calibration {
        id: format!("{} turned", line.id),
        coefficients_kn: line.coefficients_kn.iter().map(|c| 0.0 - c).collect(),
        ..line.clone()
    }
}

async fn looks(name: &str, n: usize, context: &Context) -> Result<Vec<f64>, CliError> {
    let mut seen = Vec::new();
    for _ in 0..n {
        seen.extend(rig(name, context).await?["counts"].as_f64());
        sleep(LOOKED_EVERY).await;
    }
    Ok(seen)
}

/// By how much the counts moved; none: the operator gave up.
async fn pushed(
    name: &str,
    rest: f64,
    limit: f64,
    asker: &mut Asker,
    context: &Context,
) -> Result<Option<f64>, CliError> {
    let mut beyond = Vec::new();
    loop {
        match rig(name, context).await?["counts"].as_f64().map(|counts| counts - rest) {
            Some(moved) if moved.abs() > limit => beyond.push(moved),
            _ => beyond.clear(),
        }
        if beyond.len() >= PUSH_LOOKS {
            return Ok(beyond.last().copied());
        }
        tokio::select! {
            line = asker.line() => {
                line?;
                return Ok(None);
            }
            () = sleep(LOOKED_EVERY) => {}
        }
    }
}

/// What stands and what comes next.
///
/// # Errors
/// The daemon does not answer.
pub async fn farewell(name: &str, context: &Context) -> Result<(), CliError> {
    next(name, &format!("boltscribe rig watch {name}"), context).await
}

/// The same where there is nothing to watch.
///
/// # Errors
/// The daemon does not answer.
pub async fn farewell_to_dial(name: &str, context: &Context) -> Result<(), CliError> {
    next(name, &format!("boltscribe runs enter FIGURE --rig {name}"), context).await
}

async fn next(name: &str, last: &str, context: &Context) -> Result<(), CliError> {
    let rig = rig(name, context).await?;
    let standing: Vec<&str> =
        rig["standing"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    if !standing.is_empty() {
        tell(&format!("\nStanding: {}.\n", standing.join("; ")))?;
    }
    tell(&format!(
        "\nNext:\n  boltscribe setup --help          put pieces, tool and test bolt on the shelf\n  \
         boltscribe setup use ... --rig {name}\n  {last}\n\n"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_turned_line_has_a_name_of_its_own_and_the_other_sign() {
        let line = Calibration {
            id: "cell".into(),
            coefficients_kn: vec![0.0, 2e-5],
            nominal: true,
            range_kn: Some(200.0),
        };
        let other = turned(&line);
        assert_eq!(other.coefficients_kn, [0.0, -2e-5]);
        assert_ne!(other.id, line.id);
        assert!(other.check().is_ok());
    }
}
