//! The words after `trial`, and what each asks of the API.
//!
//! Must not know how a plan is walked.

use super::plan::New;
use super::show;
use crate::caution;
use crate::context::{Context, who};
use crate::door::segment;
use crate::error::CliError;
use crate::output::{Format, print, print_text, say};
use axum::http::Method;
use clap::{Args, Subcommand};
use serde_json::{Value, json};

/// What can be done with trials.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Plan a trial and keep the plan.
    New(New),
    /// Show the order a plan would have, and keep nothing.
    Plan(New),
    /// All trials.
    List,
    /// One trial: every step with its run.
    Show(Named),
    /// What to fit next, and how far the warm-up is.
    Next(Named),
    /// Put the next step's tags in force: the next run takes it.
    Ready(Ready),
    /// Do the step of a go once more; its run does not count.
    Repeat {
        #[command(flatten)]
        #[allow(missing_docs)]
        named: Named,
        /// The go (default: the last one).
        #[arg(long)]
        go: Option<u32>,
        /// Why.
        #[arg(long)]
        why: String,
    },
    /// Leave a step out.
    Skip {
        #[command(flatten)]
        #[allow(missing_docs)]
        named: Named,
        /// Number of the step.
        #[arg(long)]
        step: u32,
        /// Why.
        #[arg(long)]
        why: String,
    },
    /// Say that the rig is warm, whatever the figures say.
    Warm {
        #[command(flatten)]
        #[allow(missing_docs)]
        named: Named,
        /// Why.
        #[arg(long)]
        why: String,
    },
    /// Lay a trial aside.
    Abort {
        #[command(flatten)]
        #[allow(missing_docs)]
        named: Named,
        /// Why.
        #[arg(long)]
        why: String,
    },
    /// Go on with it.
    Resume(Named),
    /// Make each step ready by itself as a run closes, for a fixture that works alone.
    Automatic {
        #[command(flatten)]
        #[allow(missing_docs)]
        named: Named,
        /// No longer.
        #[arg(long)]
        off: bool,
    },
}

/// Which trial, and who speaks.
#[derive(Debug, Args)]
pub struct Named {
    /// Its name; may be left out for the latest one.
    pub name: Option<String>,
    /// Who does it (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

/// Options of `trial ready`.
#[derive(Debug, Args)]
pub struct Ready {
    #[command(flatten)]
    #[allow(missing_docs)]
    pub named: Named,
    /// The go that you saw: refused if another is next by now.
    #[arg(long)]
    pub go: Option<u32>,
    /// The battery that was swapped in, fresh.
    #[arg(long)]
    pub battery: Option<String>,
    /// Its voltage after rest.
    #[arg(long = "rested-V", value_name = "V", requires = "battery")]
    pub rested_v: Option<f64>,
    /// Dynamic air pressure at the tool, kPa.
    #[arg(long = "air-kPa", value_name = "KPA", conflicts_with = "battery")]
    pub air_kpa: Option<f64>,
    /// Mains voltage.
    #[arg(long = "mains-V", value_name = "V", conflicts_with_all = ["battery", "air_kpa"])]
    pub mains_v: Option<f64>,
}

impl Verb {
    /// Whether it puts something into a new store.
    #[must_use]
    pub const fn fills_the_store(&self) -> bool {
        matches!(self, Self::New(_))
    }
}

/// Does it.
///
/// # Errors
/// As the API says.
pub async fn run(verb: &Verb, context: &Context) -> Result<(), CliError> {
    match verb {
        Verb::New(new) => plan(new, false, context).await,
        Verb::Plan(new) => plan(new, true, context).await,
        Verb::List => {
            let (document, trials) = context.list("trials", "trials").await?;
            print(context.format, &document, &show::list(&trials))
        }
        Verb::Show(named) => {
            let document = context.door.get(&path(named, context).await?).await?;
            print(context.format, &document, &show::steps(&document["steps"]))?;
            words(&document, context)
        }
        Verb::Next(named) => told(&context.door.get(&path(named, context).await?).await?, context),
        Verb::Ready(ready) => self::ready(ready, context).await,
        Verb::Repeat { named, go, why } => {
            let path = path(named, context).await?;
            let go = match go {
                Some(go) => *go,
                None => last_go(&context.door.get(&path).await?),
            };
            said(&path, named, json!({ "entry": "repeat", "go": go, "why": why }), context).await
        }
        Verb::Skip { named, step, why } => {
            let path = path(named, context).await?;
            said(&path, named, json!({ "entry": "skip", "number": step, "why": why }), context).await
        }
        Verb::Warm { named, why } => {
            let path = path(named, context).await?;
            said(&path, named, json!({ "entry": "warm", "why": why }), context).await
        }
        Verb::Abort { named, why } => {
            let path = path(named, context).await?;
            said(&path, named, json!({ "entry": "abort", "why": why }), context).await
        }
        Verb::Resume(named) => {
            let path = path(named, context).await?;
            said(&path, named, json!({ "entry": "resume" }), context).await
        }
        Verb::Automatic { named, off } => {
            let path = path(named, context).await?;
            said(&path, named, json!({ "entry": "automatic", "on": !off }), context).await
        }
    }
}

/// The path of the trial named, or of the latest.
async fn path(named: &Named, context: &Context) -> Result<String, CliError> {
    let name = match &named.name {
        Some(name) => name.clone(),
        None => {
            let (_, trials) = context.list("trials", "trials").await?;
            let latest = trials.first().and_then(|trial| trial["trial"].as_str()).map(str::to_owned);
            latest.ok_or_else(|| CliError::No {
                what: "cannot find a trial: there is none yet".to_owned(),
                hint: Some("`boltscribe trial new` plans one".to_owned()),
            })?
        }
    };
    Ok(format!("trials/{}", segment(&name)))
}

async fn plan(new: &New, dry_run: bool, context: &Context) -> Result<(), CliError> {
    let body =
        json!({ "who": who(new.who.as_deref())?, "plan": new.plan(context).await?, "dry_run": dry_run });
    let answer = context.door.change(Method::POST, "trials", &body).await?;
    print(context.format, &answer, &show::steps(&answer["steps"]))?;
    if context.format == Format::Table {
        let steps = answer["steps"].as_array().map_or(0, Vec::len);
        say(&format!("{steps} steps, order drawn from seed {}", answer["plan"]["seed"]));
        if !dry_run {
            say("`boltscribe trial next` says what to fit; `boltscribe trial ready` when it is fitted");
        }
        caution::show(context.format);
    }
    Ok(())
}

async fn ready(args: &Ready, context: &Context) -> Result<(), CliError> {
    let path = path(&args.named, context).await?;
    let source = match (&args.battery, args.air_kpa, args.mains_v) {
        (Some(id), _, _) => json!({ "kind": "battery", "id": id, "rested_v": args.rested_v, "fresh": true }),
        (None, Some(kpa), _) => json!({ "kind": "air", "dynamic_kPa": kpa }),
        (None, None, Some(v)) => json!({ "kind": "mains", "voltage_v": v }),
        (None, None, None) => Value::Null,
    };
    let body = json!({ "who": who(args.named.who.as_deref())?, "go": args.go, "source": source });
    told(&context.door.change(Method::POST, &format!("{path}/ready"), &body).await?, context)
}

async fn said(path: &str, named: &Named, say: Value, context: &Context) -> Result<(), CliError> {
    let body = json!({ "who": who(named.who.as_deref())?, "say": say });
    told(&context.door.change(Method::POST, &format!("{path}/say"), &body).await?, context)
}

fn last_go(document: &Value) -> u32 {
    let gos = document["entries"].as_array().into_iter().flatten().filter(|entry| entry["entry"] == "ready");
    gos.filter_map(|entry| entry["go"].as_u64()).max().and_then(|go| u32::try_from(go).ok()).unwrap_or(0)
}

fn told(document: &Value, context: &Context) -> Result<(), CliError> {
    if context.format == Format::Table {
        return words(document, context);
    }
    print(context.format, document, &show::steps(&document["steps"]))
}

fn words(document: &Value, context: &Context) -> Result<(), CliError> {
    if context.format == Format::Table {
        print_text(&show::next(document))?;
        caution::show(context.format);
    }
    Ok(())
}
