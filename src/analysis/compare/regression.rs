//! Least squares of ln(value) on tool × setup, with or without a drift that is linear in time.
//!
//! One level a tool (its baseline), one difference a further setup, one slope for the rig. The tests of
//! one tool's setups are adjusted together (Dunnett), with the correlation that (XᵀX)⁻¹ has: the baseline's
//! mean is one shared factor, the drift the other. Must not know where the values come from.

use super::answer::{
    DriftFound, FREEDOM_MIN, Family, Judged, NO_SPREAD, SPREAD_MIN, SetupRow, TOO_FEW, Verdict,
};
use super::cells::{Cell, Cells};
use super::checks::{Checks, look};
use super::mounting::{Mounted, Unequal};
use super::observation::{CompareError, Drift, Observation};
use super::resolution::{ResolutionFound, resolution, rounding};
use boltscribe_numerics::distributions::{t_two_sided, t_two_sided_quantile};
use boltscribe_numerics::huber::huber;
use boltscribe_numerics::many_to_one::{Contrast, ManyToOne, Sides};
use boltscribe_numerics::{Design, LinearError, LinearFit, least_squares};

const SECONDS_PER_HOUR: f64 = 3600.0;
const TIME: &str = "time";
/// Most runs that are fitted a second time, against outliers: each round is a whole fit.
pub const ROBUST_RUNS_MAX: usize = 2000;

/// The fit with what the tests need.
pub struct Fitted {
    /// Coefficients: one a cell in order of the cells, then the slope per hour if there is one.
    pub fit: LinearFit,
    /// Hours from the mean time to each run that counts.
    pub hours: Vec<f64>,
    /// Mean hours of each cell.
    mean_hours: Vec<f64>,
    linear: bool,
    design: Design,
    values: Vec<f64>,
    /// Pulls of each mounting, and what unequal numbers of them ask for.
    unequal: Option<(Vec<usize>, Unequal)>,
    /// What rounding leaves in the mean of each cell; nothing where repeats scatter over the steps.
    rounding: Vec<f64>,
    /// The step of the readings against their scatter.
    pub resolution: Option<ResolutionFound>,
}

impl Fitted {
    /// Fits the cells.
    ///
    /// # Errors
    /// A drift that cannot be told from the setups.
    pub fn new(observations: &[Observation], cells: &Cells, drift: Drift) -> Result<Self, CompareError> {
        let linear = drift == Drift::Linear;
        if linear && !cells.can_drift(observations) {
            return Err(CompareError::Drift);
        }
        let counted = &cells.counted;
        let n = counted.len() as f64;
        let middle = counted.iter().map(|r| observations[*r].time_s).sum::<f64>() / n;
        let hours: Vec<f64> =
            counted.iter().map(|r| (observations[*r].time_s - middle) / SECONDS_PER_HOUR).collect();
        let place = |row: &usize| counted.binary_search(row).unwrap_or(0);
        let mut design = Design::new();
        for (k, cell) in cells.cells.iter().enumerate() {
            let level = k == 0 || cells.cells[k - 1].tool != cell.tool;
            let rows: Vec<usize> = if level {
                cells.of_tool(cell.tool).flat_map(|c| c.rows.iter().map(place)).collect()
            } else {
                cell.rows.iter().map(place).collect()
            };
            let mut column = vec![0.0; counted.len()];
            for row in rows {
                column[row] = 1.0;
            }
            design = design.with(cell.setup.clone(), &column);
        }
        if linear {
            design = design.with(TIME, &hours);
        }
        let values: Vec<f64> = counted.iter().map(|r| libm::log(observations[*r].value)).collect();
        let fit = least_squares(&design, &values, None).map_err(|error| match error {
            LinearError::Rank { column, .. } if linear && column == TIME => CompareError::Drift,
            LinearError::TooFew { .. } if linear => CompareError::Drift,
            other => CompareError::Fit(other),
        })?;
        let mean_of = |c: &Cell| c.rows.iter().map(|r| hours[place(r)]).sum::<f64>() / c.rows.len() as f64;
        let mean_hours = cells.cells.iter().map(mean_of).collect();
        let resolution = resolution(observations, counted, fit.residual_sd());
        let rounding = match resolution {
            Some(found) if found.counts => {
                cells.cells.iter().map(|cell| rounding(observations, cell)).collect()
            }
            _ => vec![0.0; cells.cells.len()],
        };
        Ok(Self { fit, hours, mean_hours, linear, design, values, unequal: None, rounding, resolution })
    }

    /// The same where the observations are means of mountings.
    #[must_use]
    pub fn of_mountings(self, cells: &Cells, mounted: &Mounted) -> Self {
        let freedom = self.fit.degrees_of_freedom as f64;
        let unequal =
            mounted.within_variance().zip(self.fit.residual_sd()).filter(|_| !mounted.is_balanced());
        let unequal = unequal.map(|(within, sd)| Unequal {
            between: sd * sd,
            between_freedom: freedom,
            share: self.share_of_pulls(cells, &mounted.sizes),
            within,
            within_freedom: mounted.within_freedom as f64,
        });
        Self { unequal: unequal.map(|unequal| (mounted.sizes.clone(), unequal)), ..self }
    }

    /// Mean of 1/pulls, each weighed by what the fit leaves of its mounting.
    #[must_use]
    pub fn share_of_pulls(&self, cells: &Cells, sizes: &[usize]) -> f64 {
        let left = self.leverages(cells).into_iter().map(|leverage| 1.0 - leverage);
        let sum: f64 = left.zip(sizes).map(|(left, pulls)| left / *pulls as f64).sum();
        sum / self.fit.degrees_of_freedom.max(1) as f64
    }

    /// Standard error and degrees of freedom of a cell's difference, with what rounding leaves in it.
    fn error_of(&self, k: usize, cells: &Cells) -> Option<(f64, usize)> {
        let (error, freedom) = self.error_of_scatter(k, cells)?;
        let base = cells.cells.iter().position(|cell| cell.tool == cells.cells[k].tool).unwrap_or(k);
        let rounding = libm::hypot(self.rounding[k], self.rounding[base]);
        // The degrees of freedom stay those of the scatter, which makes the limits too wide rather than too narrow.
        Some((if rounding > 0.0 { libm::hypot(error, rounding) } else { error }, freedom))
    }

    fn error_of_scatter(&self, k: usize, cells: &Cells) -> Option<(f64, usize)> {
        let Some((sizes, unequal)) = &self.unequal else {
            return Some((self.fit.standard_error(k)?, self.fit.degrees_of_freedom));
        };
        let (variance, freedom) = unequal.variance(&self.weights(k, cells), sizes);
        Some((libm::sqrt(variance), libm::floor(freedom).max(1.0) as usize))
    }

    /// The residual SD of ln(value), where there is one and it is more than rounding.
    #[must_use]
    pub fn spread(&self) -> Option<f64> {
        self.fit.residual_sd().filter(|s| *s > SPREAD_MIN)
    }

    /// The slope.
    #[must_use]
    pub fn drift(&self) -> Option<DriftFound> {
        let at = self.fit.coefficients.len() - 1;
        let slope = self.linear.then(|| self.fit.coefficients[at])?;
        let se = self.spread().and_then(|_| self.fit.standard_error(at));
        let df = self.fit.degrees_of_freedom as f64;
        Some(DriftFound {
            percent_per_hour: 100.0 * slope,
            se_percent_per_hour: se.map(|se| 100.0 * se),
            p_value: se.map(|se| t_two_sided(slope / se, df)),
        })
    }

    /// The families of the tools, where there is something to judge by.
    #[must_use]
    pub fn families(&self, cells: &Cells) -> Vec<Family> {
        if self.note().is_some() {
            return Vec::new();
        }
        (0..cells.tools.len()).filter_map(|tool| self.contrasts(cells, tool)).collect()
    }

    /// The tests of one tool's setups, as a family; none with one cell or no degree of freedom.
    #[must_use]
    pub fn family(&self, cells: &Cells, tool: usize) -> Option<ManyToOne> {
        let family = self.contrasts(cells, tool)?;
        ManyToOne::new(&family.contrasts, family.freedom, Sides::Two)
    }

    fn contrasts(&self, cells: &Cells, tool: usize) -> Option<Family> {
        let of_tool: Vec<usize> = (0..cells.cells.len()).filter(|k| cells.cells[*k].tool == tool).collect();
        let (base, rest) = of_tool.split_first()?;
        let runs = |k: usize| cells.cells[k].rows.len() as f64;
        let slope_variance = if self.linear {
            let at = self.fit.coefficients.len() - 1;
            self.fit.unscaled_covariance[at][at]
        } else {
            0.0
        };
        let contrast = |k: &usize| {
            let mut loads = vec![1.0 / runs(*base).sqrt()];
            if self.linear {
                loads.push((self.mean_hours[*k] - self.mean_hours[*base]) * slope_variance.sqrt());
            }
            Contrast { own: 1.0 / runs(*k), loads }
        };
        let contrasts: Vec<Contrast> = rest.iter().map(contrast).collect();
        // Of several numbers of degrees the least: the family is then judged too strictly rather than too mildly.
        let freedom = rest.iter().filter_map(|k| self.error_of(*k, cells)).map(|(_, freedom)| freedom).min();
        Some(Family { first: *rest.first()?, contrasts, freedom: freedom? as f64 })
    }

    /// Why nothing can be judged.
    fn note(&self) -> Option<&'static str> {
        let enough = self.fit.degrees_of_freedom >= FREEDOM_MIN;
        let rounded = self.rounding.iter().any(|rounding| *rounding > 0.0);
        match (enough, self.spread().is_some() || rounded) {
            (false, _) => Some(TOO_FEW),
            (true, false) => Some(NO_SPREAD),
            (true, true) => None,
        }
    }

    /// The rows of the answer.
    #[must_use]
    pub fn rows(&self, cells: &Cells, alpha: f64) -> Vec<SetupRow> {
        let note = self.note();
        let mut rows = Vec::new();
        for (tool, name) in cells.tools.iter().enumerate() {
            let family = if note.is_none() { self.family(cells, tool) } else { None };
            let critical = family.as_ref().map(|f| f.critical(alpha));
            for (k, cell) in cells.cells.iter().enumerate().filter(|(_, c)| c.tool == tool) {
                let first = k == 0 || cells.cells[k - 1].tool != tool;
                let row = |percent_of_baseline, judged, verdict, note| SetupRow {
                    setup: cell.setup.clone(),
                    tool: name.clone(),
                    runs: cell.rows.len(),
                    mountings: None,
                    percent_of_baseline,
                    judged,
                    verdict,
                    note,
                };
                if first {
                    rows.push(row(100.0, None, Some(Verdict::Baseline), None));
                    continue;
                }
                let percent = 100.0 * libm::exp(self.fit.coefficients[k]);
                let judged =
                    family.as_ref().zip(critical).and_then(|(f, c)| self.judge((k, cells), f, c, alpha));
                let verdict = judged.map(|j| Verdict::of(j.p_adjusted, percent, alpha));
                rows.push(row(percent, judged, verdict, note));
            }
        }
        rows
    }

    fn judge(
        &self,
        (k, cells): (usize, &Cells),
        family: &ManyToOne,
        critical: f64,
        alpha: f64,
    ) -> Option<Judged> {
        let difference = self.fit.coefficients[k];
        let (se, degrees_of_freedom) = self.error_of(k, cells)?;
        let df = degrees_of_freedom as f64;
        let limits =
            |t: f64| Some((100.0 * libm::exp(difference - t * se), 100.0 * libm::exp(difference + t * se)));
        let t = difference / se;
        Some(Judged {
            t,
            degrees_of_freedom,
            p_value: t_two_sided(t, df),
            p_adjusted: family.p_adjusted(t),
            limits: limits(t_two_sided_quantile(1.0 - alpha, df)),
            simultaneous: limits(critical),
            se_of_ln: se,
            critical,
        })
    }

    /// What each coefficient takes up of a disturbance that nobody fitted, one number a run that counts:
    /// (XᵀX)⁻¹Xᵀg, by cell.
    #[must_use]
    pub fn taken_up(&self, cells: &Cells, disturbance: &[f64]) -> Vec<f64> {
        let taken = |k: usize| self.weights(k, cells).iter().zip(disturbance).map(|(w, g)| w * g).sum();
        (0..cells.cells.len()).map(taken).collect()
    }

    /// An orthonormal basis of what the fit can take up: one vector a cell, and the line in time off the cells' means.
    #[must_use]
    pub fn basis(&self, cells: &Cells) -> Vec<Vec<f64>> {
        let mut line = vec![0.0; self.hours.len()];
        let mut all = Vec::new();
        for (k, cell) in cells.cells.iter().enumerate() {
            let mut of_cell = vec![0.0; self.hours.len()];
            for place in cell.rows.iter().filter_map(|row| cells.counted.binary_search(row).ok()) {
                of_cell[place] = 1.0 / (cell.rows.len() as f64).sqrt();
                line[place] = self.hours[place] - self.mean_hours[k];
            }
            all.push(of_cell);
        }
        let length = line.iter().map(|v| v * v).sum::<f64>().sqrt();
        if self.linear && length > 0.0 {
            all.push(line.into_iter().map(|v| v / length).collect());
        }
        all
    }

    /// How much of each run's ln(value) a coefficient takes: a row of (XᵀX)⁻¹Xᵀ.
    #[must_use]
    pub fn weights(&self, k: usize, cells: &Cells) -> Vec<f64> {
        let row = &self.fit.unscaled_covariance[k];
        let mut weights = match row.last().filter(|_| self.linear) {
            Some(of_time) => self.hours.iter().map(|hours| of_time * hours).collect(),
            None => vec![0.0; self.hours.len()],
        };
        let mut level = 0;
        for (at, cell) in cells.cells.iter().enumerate() {
            let first = at == 0 || cells.cells[at - 1].tool != cell.tool;
            level = if first { at } else { level };
            let weight = if first { row[level] } else { row[level] + row[at] };
            for place in cell.rows.iter().filter_map(|row| cells.counted.binary_search(row).ok()) {
                weights[place] += weight;
            }
        }
        weights
    }

    /// Percents by a fit that outliers pull less, one a cell, each with half of its interval in ln by the scatter that
    /// outliers do not widen; where there are limits to hold them against.
    ///
    /// None for more runs than [`ROBUST_RUNS_MAX`], or where that fit has no answer.
    #[must_use]
    pub fn robust(&self, alpha: f64) -> Option<Vec<(f64, f64)>> {
        if self.note().is_some() || self.values.len() > ROBUST_RUNS_MAX {
            return None;
        }
        let found = huber(&self.design, &self.values)?;
        let t = t_two_sided_quantile(1.0 - alpha, self.fit.degrees_of_freedom as f64);
        let half = |k: usize| t * found.scale * self.fit.unscaled_covariance[k][k].sqrt();
        let cells = found.coefficients.iter().take(self.mean_hours.len()).enumerate();
        Some(cells.map(|(k, c)| (100.0 * libm::exp(*c), half(k))).collect())
    }

    /// What the residuals look like.
    #[must_use]
    pub fn checks(&self, cells: &Cells) -> Checks {
        look(&self.fit.residuals, &self.leverages(cells), self.fit.degrees_of_freedom)
    }

    /// How much of each run's own value its fitted one takes.
    fn leverages(&self, cells: &Cells) -> Vec<f64> {
        let slope_variance = if self.linear {
            let at = self.fit.coefficients.len() - 1;
            self.fit.unscaled_covariance[at][at]
        } else {
            0.0
        };
        let mut leverages = vec![0.0; self.hours.len()];
        for (k, cell) in cells.cells.iter().enumerate() {
            for row in &cell.rows {
                let Ok(place) = cells.counted.binary_search(row) else { continue };
                let off = self.hours[place] - self.mean_hours[k];
                leverages[place] = 1.0 / cell.rows.len() as f64 + off * off * slope_variance;
            }
        }
        leverages
    }
}
