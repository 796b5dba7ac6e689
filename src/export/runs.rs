//! The table of runs: one row a run, every figure.
//!
//! A run comes as the store's `RunExport`; no figure is computed here. Gates are as many as the settings say:
//! the first one has columns of its own, all of them stand in lists of one length.

use super::table::{Cell, Column, Form, Table, When};
use boltscribe_analysis::results::FiguresShown;
use boltscribe_model::control::SourceState;
use boltscribe_store::RunExport;

/// Its columns.
pub const COLUMNS: &[Column] = &[
    Column::new("id", Form::Whole, "number of the run in the store"),
    Column::new("rig", Form::Text, "rig"),
    Column::new("rig_run", Form::Whole, "number of the run at its rig"),
    Column::new("utc", Form::Time, "wall time of the first blow"),
    Column::new("simulated", Form::Flag, "comes from a simulated device"),
    Column::new("setup", Form::Text, "setup, corrections applied"),
    Column::new("contacts", Form::Whole, "contacts of the setup"),
    Column::new("tool", Form::Text, "tool, corrections applied"),
    Column::new("bolt", Form::Text, "test bolt"),
    Column::new("source", Form::Text, "what drove the tool: battery, air or mains"),
    Column::new("battery", Form::Text, "name of the battery"),
    Column::real("battery_rested_v", "V", "its voltage after rest"),
    Column::new("battery_fresh", Form::Flag, "it was freshly charged and rested"),
    Column::real("air_dynamic_kPa", "kPa", "pressure at the tool while it runs"),
    Column::real("mains_voltage_v", "V", "voltage at the outlet"),
    Column::new("calibration", Form::Text, "name of the calibration"),
    Column::new("timing", Form::Text, "whose clock the times come from: device or host"),
    Column::real("rate_hz", "Hz", "samples a second"),
    Column::real("first_blow_s", "s", "first blow, since sample 0 of the stream"),
    Column::real("last_blow_s", "s", "last blow, since sample 0 of the stream"),
    Column::real("drive_time_s", "s", "last minus first blow"),
    Column::new("blows", Form::Whole, "blows"),
    Column::real("blow_rate_hz", "Hz", "blows a second"),
    Column::real("peak_kN", "kN", "greatest filtered tension"),
    Column::real("peak_time_s", "s", "its time, since sample 0 of the stream"),
    Column::new("peak_is_lower_bound", Form::Flag, "the true peak may lie higher"),
    Column::real("level_kN", "kN", "tension just after the last blow"),
    Column::real("held_kN", "kN", "settled tension after the last blow"),
    Column::real("gate_s", "s", "first gate, after the first blow"),
    Column::real("gate_kN", "kN", "tension at the first gate"),
    Column::real("gate_Nm", "N.m", "equivalent torque at the first gate"),
    Column::reals("gates_s", "s", "all gates, after the first blow"),
    Column::reals("gates_kN", "kN", "tension at each of them"),
    Column::reals("gates_Nm", "N.m", "equivalent torque at each of them"),
    Column::real("plateau_kN", "kN", "fitted limit"),
    Column::real("plateau_se_kN", "kN", "its standard error"),
    Column::real("time_constant_s", "s", "time constant of the fit"),
    Column::real("time_constant_se_s", "s", "its standard error"),
    Column::new("plateau_form", Form::Text, "form of the fit: energy or exponential"),
    Column::real("held_over_limit", "1", "held tension over the fitted limit"),
    Column::real("held_over_limit_se", "1", "its standard error"),
    Column::real("energy_index_kN2_per_blow", "kN2", "early step of the square of tension a blow"),
    Column::real("energy_index_se_kN2_per_blow", "kN2", "its standard error"),
    Column::real(
        "limit_index_kN2",
        "kN2",
        "square of tension at which the mean blow no longer moves the nut",
    ),
    Column::real("limit_index_se_kN2", "kN2", "its standard error"),
    Column::real("step_scatter_percent", "%", "scatter of the energy blow to blow, of its mean"),
    Column::real("step_scatter_se_percent", "%", "its standard error"),
    Column::real("preload_kN", "kN", "tension at the first blow above the rig's zero"),
    Column::real("preload_se_kN", "kN", "its standard error, of noise alone"),
    Column::reals("growths_kN_per_s", "kN/s", "growth at each gate"),
    Column::reals("growths_se_kN_per_s", "kN/s", "their standard errors"),
    Column::reals("tensions_kN", "kN", "tensions to which time and blows are given"),
    Column::new("reached_states", Form::Words { between: " " }, "whether each of them was reached"),
    Column::reals("times_to_s", "s", "when, after the first blow"),
    Column::reals("times_to_se_s", "s", "standard errors of these times"),
    Column::reals("blows_to", "1", "blows it took"),
    Column::real("equivalent_torque_Nm", "N.m", "equivalent torque of the held tension"),
    Column::real("equivalent_torque_peak_Nm", "N.m", "equivalent torque of the peak"),
    Column::real("equivalent_torque_plateau_Nm", "N.m", "equivalent torque of the fitted limit"),
    Column::real("zero_kN", "kN", "idle reading before the first blow, by the calibration's line"),
    Column::real("zero_shift_kN", "kN", "how far it stood from the rig's zero"),
    Column::real("noise_kN", "kN", "noise before the first blow"),
    Column::real("ringing_kN", "kN", "median excursion after a blow"),
    Column::new("spikes", Form::Whole, "single-sample spikes removed"),
    Column::new("missing", Form::Whole, "samples missing inside the run"),
    Column::new("clipped", Form::Whole, "samples at the end of the converter's range"),
    Column::new("closed_by", Form::Text, "why the run closed"),
    Column::new("re_pulled", Form::Flag, "pulled again after it was announced"),
    Column::real("re_pulled_level_kN", "kN", "the level that gave"),
    Column::real("resolution_kN", "kN", "resolution of the dial, where it was read by hand"),
    Column::new("entered_by", Form::Text, "who read the dial"),
    Column::new("note", Form::Text, "what was noted with that reading"),
    Column::new("recomputed_utc", Form::Text, "when it was measured again last"),
    Column::new("flags", Form::Words { between: " " }, "flags"),
    Column::new("excluded", Form::Flag, "left out of results"),
    Column::new("left_out_because", Form::Words { between: "; " }, "why it is left out"),
];

/// The table.
#[must_use]
pub fn table(notes: Vec<(String, String)>) -> Table {
    Table { name: "runs", columns: COLUMNS, notes, when: When::Column("utc"), tags: Vec::new() }
}

/// One run as a row.
#[must_use]
pub fn row(run: &RunExport) -> Vec<Cell> {
    let line = &run.line;
    let mut cells = vec![
        Cell::Whole(line.id.0),
        Cell::Text(line.rig.clone()),
        Cell::Whole(line.rig_run),
        Cell::Time(line.utc_ns),
        Cell::Flag(line.simulated),
        Cell::text(line.setup.as_deref()),
        Cell::whole(line.contacts.map(i64::from)),
        Cell::text(line.tool.as_deref()),
        Cell::text(line.bolt.as_deref()),
    ];
    cells.extend(source(run.source.as_ref()));
    cells.extend([
        Cell::text(line.calibration.as_deref()),
        Cell::text(line.timing.as_deref()),
        Cell::real(run.rate_hz),
        Cell::real(line.first_blow_s),
        Cell::real(line.last_blow_s),
        Cell::real(line.drive_time_s),
        Cell::whole(line.blows.map(i64::from)),
        Cell::real(line.blow_rate_hz),
        Cell::real(line.peak_kn),
        Cell::real(line.peak_time_s),
        Cell::flag(line.peak_is_lower_bound),
        Cell::real(run.level_kn),
        Cell::real(line.held_kn),
    ]);
    cells.extend(gates(run));
    cells.extend([
        Cell::real(line.plateau_kn),
        Cell::real(line.plateau_se_kn),
        Cell::real(line.time_constant_s),
        Cell::real(run.time_constant_se_s),
    ]);
    cells.extend(figures(&run.figures));
    cells.extend([
        Cell::real(line.equivalent_torque_nm),
        Cell::real(run.equivalent_torque_peak_nm),
        Cell::real(run.equivalent_torque_plateau_nm),
        Cell::real(run.zero_kn),
        Cell::real(run.zero_shift_kn),
        Cell::real(run.noise_kn),
        Cell::real(run.ringing_kn),
        Cell::whole(run.spikes),
        Cell::whole(run.missing),
        Cell::whole(run.clipped),
        Cell::text(line.closed_by.as_deref()),
        Cell::flag(run.re_pulled),
        Cell::real(run.re_pulled_level_kn),
        Cell::real(line.resolution_kn),
        Cell::text(line.entered_by.as_deref()),
        Cell::text(line.note.as_deref()),
        Cell::text(line.recomputed_utc.as_deref()),
        Cell::Words(line.flags.clone()),
        Cell::Flag(line.excluded),
        Cell::Words(line.left_out_because.clone()),
    ]);
    cells
}

fn figures(figures: &FiguresShown) -> Vec<Cell> {
    let growth = &figures.growth;
    let reached = &figures.reached;
    vec![
        Cell::text(figures.plateau_form.map(|form| form.name())),
        Cell::real(figures.held_over_limit),
        Cell::real(figures.held_over_limit_se),
        Cell::real(figures.energy_index_kn2_per_blow),
        Cell::real(figures.energy_index_se_kn2_per_blow),
        Cell::real(figures.limit_index_kn2),
        Cell::real(figures.limit_index_se_kn2),
        Cell::real(figures.step_scatter_percent),
        Cell::real(figures.step_scatter_se_percent),
        Cell::real(figures.preload_kn),
        Cell::real(figures.preload_se_kn),
        Cell::Reals(growth.iter().map(|g| g.growth_kn_per_s).collect()),
        Cell::Reals(growth.iter().map(|g| g.growth_se_kn_per_s).collect()),
        Cell::Reals(reached.iter().map(|r| Some(r.tension_kn)).collect()),
        Cell::Words(reached.iter().map(|r| r.state.name().to_owned()).collect()),
        Cell::Reals(reached.iter().map(|r| r.after_s).collect()),
        Cell::Reals(reached.iter().map(|r| r.after_se_s).collect()),
        Cell::Reals(reached.iter().map(|r| r.blows.map(f64::from)).collect()),
    ]
}

fn source(source: Option<&SourceState>) -> [Cell; 6] {
    let none = || [const { Cell::Absent }; 6];
    match source {
        None => none(),
        Some(SourceState::Battery { id, rested_v, fresh }) => [
            Cell::Text("battery".into()),
            Cell::Text(id.clone()),
            Cell::real(*rested_v),
            Cell::flag(*fresh),
            Cell::Absent,
            Cell::Absent,
        ],
        Some(SourceState::Air { dynamic_kpa }) => {
            let mut cells = none();
            cells[0] = Cell::Text("air".into());
            cells[4] = Cell::real(*dynamic_kpa);
            cells
        }
        Some(SourceState::Mains { voltage_v }) => {
            let mut cells = none();
            cells[0] = Cell::Text("mains".into());
            cells[5] = Cell::real(*voltage_v);
            cells
        }
    }
}

fn gates(run: &RunExport) -> [Cell; 6] {
    let gates = &run.line.gates;
    let first = gates.first();
    [
        Cell::real(first.map(|gate| gate.after_s)),
        Cell::real(first.and_then(|gate| gate.tension_kn)),
        Cell::real(first.and_then(|gate| gate.torque_nm)),
        Cell::Reals(gates.iter().map(|gate| Some(gate.after_s)).collect()),
        Cell::Reals(gates.iter().map(|gate| gate.tension_kn).collect()),
        Cell::Reals(gates.iter().map(|gate| gate.torque_nm).collect()),
    ]
}
