//! A plan as typed.
//!
//! Whether it can be is the API's to say, and of its order.

use crate::context::Context;
use crate::error::CliError;
use crate::measure::Measure;
use boltscribe_analysis::trial::{Drawing, Fresh, Order, Plan};
use clap::ValueEnum;

/// Orders as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum By {
    /// Each repeat is a block of all setups in random order.
    Blocks,
    /// Each setup stands at each place of a block, and follows each other setup, equally often.
    LatinSquare,
}

/// When a fresh source is asked for, as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum When {
    /// Never.
    No,
    /// Before each run.
    EachRun,
    /// Before each change of setup or tool.
    EachSetup,
}

/// Options of `trial new` and `trial plan`.
#[derive(Clone, Debug, clap::Args)]
#[command(before_help = "Example:
  boltscribe trial new couplings --tools wrench-1,wrench-2 --baseline direct --setups ext75,ext250,joint --repeats 5 --warm-up
")]
pub struct New {
    /// Its name.
    pub name: String,
    /// The rig; may be left out where there is only one.
    #[arg(long)]
    pub rig: Option<String>,
    /// Tools, each with its own baseline.
    #[arg(long, value_delimiter = ',', required = true)]
    pub tools: Vec<String>,
    /// The setup that counts as 100 %.
    #[arg(long)]
    pub baseline: String,
    /// Setups that are compared with it.
    #[arg(long, value_delimiter = ',', required = true)]
    pub setups: Vec<String>,
    /// Runs of each setup with each tool.
    #[arg(long, value_name = "N", default_value_t = 5)]
    pub repeats: u32,
    /// A baseline run of each tool after so many others (default: about √k times as many as runs of one of k setups, spread
    /// evenly).
    #[arg(long, value_name = "N")]
    pub baseline_every: Option<u32>,
    /// The kind of order.
    #[arg(long, value_enum, default_value_t = By::Blocks)]
    pub order: By,
    /// What the order is drawn from (default: drawn itself); the same seed gives the same order.
    #[arg(long)]
    pub seed: Option<u64>,
    /// Run on the baseline until readings are steady first.
    #[arg(long)]
    pub warm_up: bool,
    /// The figure that is compared.
    #[arg(long, value_enum, default_value_t = Measure::Gate)]
    pub measure: Measure,
    /// After how many repeats you may compare, the last of them all (default: once, when all runs are there).
    #[arg(long, value_name = "N,N", value_delimiter = ',')]
    pub looks: Vec<u32>,
    /// Leave the coupling on while the setup stays (default: each run is a mounting of its own, and you are asked to
    /// take the coupling off and put it on again).
    #[arg(long)]
    pub keep_mounted: bool,
    /// Rest before each run, seconds.
    #[arg(long, value_name = "S", default_value_t = 0.0)]
    pub rest_s: f64,
    /// When a fresh battery (or the pressure) is asked for.
    #[arg(long, value_enum, default_value_t = When::No)]
    pub fresh: When,
    /// Least and greatest dynamic air pressure that counts as fresh, kPa; goes with --fresh.
    #[arg(long = "air-kPa", value_name = "LOW,HIGH", value_delimiter = ',')]
    pub air_kpa: Vec<f64>,
    /// The test bolt (default: the one in force).
    #[arg(long)]
    pub bolt: Option<String>,
    /// Who plans (default: the login name).
    #[arg(long)]
    pub who: Option<String>,
}

impl New {
    /// The plan.
    ///
    /// # Errors
    /// No rig, or several and none named.
    pub async fn plan(&self, context: &Context) -> Result<Plan, CliError> {
        Ok(Plan {
            name: self.name.clone(),
            rig: context.rig_or_only(self.rig.as_deref()).await?,
            tools: self.tools.clone(),
            baseline: self.baseline.clone(),
            setups: self.setups.clone(),
            repeats: self.repeats,
            order: match self.order {
                By::Blocks => Order::Blocks,
                By::LatinSquare => Order::LatinSquare,
            },
            // Any number will do; it is kept with the plan.
            seed: self.seed.unwrap_or_else(|| fastrand::u64(1..1_000_000_000)),
            drawing: Some(Drawing::Second),
            baseline_every: self.baseline_every,
            warm_up: self.warm_up,
            measure: self.measure.into(),
            looks: self.looks.clone(),
            remount: Some(!self.keep_mounted),
            rest_s: self.rest_s,
            fresh: match self.fresh {
                When::No => Fresh::No,
                When::EachRun => Fresh::EachRun,
                When::EachSetup => Fresh::EachSetup,
            },
            air_kpa: match self.air_kpa[..] {
                [] => None,
                [low, high] => Some((low, high)),
                _ => return Err(CliError::usage("--air-kPa: expected two pressures, such as 590,650")),
            },
            bolt: self.bolt.clone(),
        })
    }
}
