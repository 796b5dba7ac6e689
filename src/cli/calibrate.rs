//! `calibrate`: which line turns counts into tension.
//!
//! A nominal line needs no reference: percent of baseline is sound on it, because its gain cancels.

mod bolt;
mod collect;
mod document;
pub mod fit;
mod keep;
mod series_plan;
mod show;
mod uncoupled;

use super::context::{Context, who};
use super::door::segment;
use super::error::CliError;
use super::figures::Figures;
use super::output::{Cell, Format, Rows, print, say};
use axum::http::Method;
use clap::Subcommand;
use serde_json::json;

/// What can be done with calibrations.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Fit a line to the loads of a file, or to any two of its columns; needs no store.
    Fit(fit::Args),
    /// Take the loads of a calibration at the rig, guided; goes on where it was broken off.
    Collect(collect::Collect),
    /// Measure the bolt factor of a test bolt with a calibrated hand wrench.
    Bolt(bolt::Bolt),
    /// Keep a calibration against a reference in the store, with its loads and circumstances.
    Keep(Box<keep::Keep>),
    /// The calibrations that are kept, and which rig uses which.
    List,
    /// One of them with its circumstances.
    Show {
        /// Its name.
        name: String,
    },
    /// Put a kept calibration in force at a rig.
    Use {
        /// Its name.
        name: String,
        /// The rig; may be left out where there is only one.
        #[arg(long)]
        rig: Option<String>,
        /// Who does it (default: the login name).
        #[arg(long)]
        who: Option<String>,
    },
    /// Put a nominal calibration, from data sheets, in force at a rig.
    #[command(
        before_help = "Examples:\n  boltscribe calibrate nominal cell-1-sheet --rig bench-1 --rated-kN 200 \
                       --rated-mV-V 2 --excitation-V 5 --gain 128 --full-scale-V 2.5 --bits 24\n  \
                       boltscribe calibrate nominal cell-1-slope --kN-per-count 4.6566e-5"
    )]
    Nominal {
        /// Its name; it means this line for ever.
        id: String,
        /// The rig; may be left out where there is only one.
        #[arg(long)]
        rig: Option<String>,
        #[command(flatten)]
        /// Its figures.
        figures: Figures,
        /// Who does it (default: the login name).
        #[arg(long)]
        who: Option<String>,
    },
}

impl Verb {
    /// Whether it puts something into the store.
    #[must_use]
    pub const fn fills_the_store(&self) -> bool {
        !matches!(self, Self::Fit(_) | Self::List | Self::Show { .. } | Self::Collect(_))
    }
}

/// Does it.
///
/// # Errors
/// As the door and the output have them.
pub async fn run(verb: &Verb, context: &Context) -> Result<(), CliError> {
    match verb {
        Verb::Fit(args) => fit::run(args, context.format),
        Verb::Collect(args) => collect::run(args, context).await,
        Verb::Bolt(args) => bolt::run(args, context).await,
        Verb::Keep(keep) => keep::keep(keep, context).await,
        Verb::List => keep::list(context).await,
        Verb::Show { name } => keep::show(name, context).await,
        Verb::Use { name, rig, who: by } => {
            keep::put_in_force(name, rig.as_deref(), by.as_deref(), context).await
        }
        Verb::Nominal { id, rig, figures, who: by } => {
            nominal(context, id, rig.as_deref(), figures, by.as_deref()).await
        }
    }
}

async fn nominal(
    context: &Context,
    id: &str,
    rig: Option<&str>,
    figures: &Figures,
    by: Option<&str>,
) -> Result<(), CliError> {
    let Some(line) = figures.calibration(id, None)? else {
        return Err(CliError::usage_with(
            "a nominal calibration: expected figures, found none",
            "give --kN-per-count, or all of --rated-kN --rated-mV-V --excitation-V --gain --full-scale-V --bits",
        ));
    };
    let rig = context.rig_or_only(rig).await?;
    let path = format!("rigs/{}/calibrate", segment(&rig));
    let body = json!({ "who": who(by)?, "calibration": line });
    let answer = context.door.change(Method::POST, &path, &body).await?;
    let mut rows = Rows::new(&["rig", "calibration", "kN_per_count", "nominal"]);
    rows.rows.push(vec![
        Cell::Text(rig),
        Cell::Text(line.id.clone()),
        Cell::Text(format!("{:e}", line.coefficients_kn[1])),
        Cell::Text("yes".into()),
    ]);
    print(context.format, &answer, &rows)?;
    if context.format == Format::Table {
        say(
            "kN and torque are approximate on it; ratios are not. Its zero is to be taken anew: `boltscribe rig zero`",
        );
        if answer["reply"] == "at-next-start" {
            say("no daemon runs: it is taken up at the next start of boltscribed");
        }
    }
    Ok(())
}
