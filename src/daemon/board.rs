//! What is shown of one rig: kept up to date from the pipeline's events and the port's news.
//!
//! A stale reading is never shown as live: silence and a lost line clear it. Pure: events in, a
//! `RigState` out; it reads no clock.

use boltscribe_http::{Identity, Link, RigState};
use boltscribe_model::constants::Calibration;
use boltscribe_model::control::InForce;
use boltscribe_pipeline::{Counters, Event};

/// Shown of a line whose device answers, but does not sample.
const UNSAMPLED: &str = "the device answers, but sends no samples; it is started again and again";

/// The state of a rig before anything is known.
#[must_use]
pub fn blank(rig: &str, port: &str, calibration: Option<&Calibration>, range_kn: Option<f64>) -> RigState {
    RigState {
        rig: rig.to_owned(),
        port: Some(port.to_owned()),
        link: Link::Down,
        link_detail: Some("not opened yet".to_owned()),
        stale: true,
        simulated: false,
        identity: None,
        rate_hz: None,
        tension_kn: None,
        counts: None,
        zero_kn: None,
        running: None,
        driving: false,
        awaits_rest: false,
        trouble: None,
        in_force: InForce::default(),
        calibration: calibration.map(|c| c.id.clone()),
        nominal: calibration.is_some_and(|c| c.nominal),
        range_kn,
        gates_s: Vec::new(),
        dial: None,
        standing: Vec::new(),
        counters: Counters::default(),
    }
}

/// Takes an event into the state.
pub fn take(state: &mut RigState, event: &Event) {
    match event {
        Event::Identity { serial, firmware, time_scale, simulated, .. } => {
            state.simulated = *simulated;
            state.identity = Some(Identity {
                serial: serial.clone(),
                firmware: firmware.clone(),
                time_scale: *time_scale,
            });
        }
        Event::Rate { rate_hz } => state.rate_hz = Some(*rate_hz),
        Event::Stale { stale } => {
            state.stale = *stale;
            if *stale {
                clear_reading(state);
            }
        }
        Event::Unsampled { answers } if state.link == Link::Up => {
            state.link_detail = answers.then(|| UNSAMPLED.to_owned());
        }
        Event::Live { mean, counts, .. } => {
            state.stale = false;
            state.tension_kn = state.calibration.is_some().then(|| mean.kn());
            state.counts = Some(counts.0);
        }
        Event::Started { run_seq, .. } => {
            state.running = Some(*run_seq);
            state.driving = true;
        }
        Event::Zeroed { zero } => state.zero_kn = Some(zero.kn()),
        Event::AwaitsRest { awaits, .. } => state.awaits_rest = *awaits,
        Event::InForce(in_force) => state.in_force = (**in_force).clone(),
        Event::Unsampled { .. } | Event::Status { .. } | Event::Blow { .. } | Event::Refused { .. } => {}
    }
}

/// Takes a change of the line into the state; true where it is one.
pub fn take_link(state: &mut RigState, link: Link, detail: Option<String>) -> bool {
    if state.link == link && state.link_detail == detail {
        return false;
    }
    state.link = link;
    state.link_detail = detail;
    if link != Link::Up {
        state.stale = true;
        clear_reading(state);
    }
    true
}

/// The run is measured; its release is still to come.
pub fn take_announced(state: &mut RigState, run_seq: u32) {
    if state.running == Some(run_seq) {
        state.driving = false;
    }
}

/// The run is over.
pub fn take_closed(state: &mut RigState, run_seq: u32) {
    if state.running == Some(run_seq) {
        state.running = None;
        state.driving = false;
    }
}

fn clear_reading(state: &mut RigState) {
    state.tension_kn = None;
    state.counts = None;
}

#[cfg(test)]
mod tests {
    use super::*;
    use boltscribe_model::units::{Counts, Newtons};

    fn cell() -> Calibration {
        Calibration { id: "cell".into(), coefficients_kn: vec![0.0, 1e-3], nominal: true, range_kn: None }
    }

    fn live() -> Event {
        Event::Live {
            at_s: 1.0,
            mean: Newtons(1500.0),
            min: Newtons(0.0),
            max: Newtons(3000.0),
            counts: Counts(42),
        }
    }

    #[test]
    fn a_reading_is_gone_when_the_device_is_silent_or_the_line_is_lost() {
        let mut state = blank("a", "/dev/x", Some(&cell()), None);
        take_link(&mut state, Link::Up, None);
        take(&mut state, &live());
        assert_eq!((state.tension_kn, state.counts), (Some(1.5), Some(42)));
        take(&mut state, &Event::Stale { stale: true });
        assert_eq!((state.tension_kn, state.counts, state.stale), (None, None, true));
        take(&mut state, &live());
        assert!(take_link(&mut state, Link::Down, Some("gone".into())));
        assert_eq!((state.tension_kn, state.counts, state.stale), (None, None, true));
        assert!(!take_link(&mut state, Link::Down, Some("gone".into())), "told once");
    }

    #[test]
    fn without_a_calibration_only_counts_are_shown() {
        let mut state = blank("a", "/dev/x", None, None);
        take(&mut state, &live());
        assert_eq!((state.tension_kn, state.counts), (None, Some(42)));
    }

    #[test]
    fn a_rig_is_simulated_where_its_device_says_so_and_as_long_as_it_does() {
        let mut state = blank("a", "/dev/x", None, None);
        let identity = |simulated| Event::Identity {
            serial: "v".into(),
            firmware: "1".into(),
            adc_bits: 24,
            count_min: -8_388_608,
            count_max: 8_388_607,
            rates_hz: vec![2000],
            time_scale: 1,
            simulated,
        };
        take(&mut state, &identity(true));
        assert!(state.simulated);
        take(&mut state, &identity(false));
        assert!(!state.simulated);
    }
}
