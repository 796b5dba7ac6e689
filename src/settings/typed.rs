//! The settings as typed: what the layers together say, each value already of its kind and in its range.
//!
//! These shapes mirror the table of keys and carry no meaning; `checked` and `rig` turn them into what
//! the rooms take. This file must not know where values come from.

use boltscribe_analysis::results::{DialUnit, Measure};
use serde::{Deserialize, Serialize};

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Typed {
    pub daemon: TypedDaemon,
    pub store: TypedStore,
    pub measure: TypedMeasure,
    pub forward: TypedForward,
    #[serde(default)]
    pub limit: Vec<TypedLimit>,
    #[serde(default)]
    pub rig: Vec<TypedRig>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TypedLimit {
    pub class: String,
    pub setup: String,
    #[serde(default)]
    pub measure: Measure,
    #[serde(rename = "least_kN")]
    pub least_kn: Option<f64>,
    #[serde(rename = "most_kN")]
    pub most_kn: Option<f64>,
    #[serde(rename = "least_Nm")]
    pub least_nm: Option<f64>,
    #[serde(rename = "most_Nm")]
    pub most_nm: Option<f64>,
    pub looks: Option<Vec<f64>>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TypedDaemon {
    pub listen: String,
    pub host: Option<String>,
    pub tokens_file: Option<String>,
    pub time_zone: Option<String>,
    pub log: super::checked::Log,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TypedStore {
    pub folder: String,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TypedMeasure {
    pub gates_s: Vec<f64>,
    pub lowpass_hz: f64,
    #[serde(rename = "start_threshold_kN")]
    pub start_threshold_kn: Option<f64>,
    #[serde(rename = "zero_shift_limit_kN")]
    pub zero_shift_limit_kn: Option<f64>,
    pub short_s: f64,
    #[serde(rename = "tensions_kN")]
    pub tensions_kn: Vec<f64>,
}

#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TypedForward {
    pub url: Option<String>,
    pub org: String,
    pub bucket: String,
    pub token_file: Option<String>,
    pub ca_file: Option<String>,
    pub health_s: u32,
    pub batch_max: u32,
    pub settle_s: u32,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TypedRig {
    pub name: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub port: Option<String>,
    pub instrument: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub baud: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rate_hz: Option<f64>,
    #[serde(rename = "range_kN", skip_serializing_if = "Option::is_none")]
    pub range_kn: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub count_min: Option<i32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub count_max: Option<i32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pattern: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tick_hz: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tick_bits: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decimals: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dial_unit: Option<DialUnit>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dial_psi: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dial_resolution: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub piston_area_mm2: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub piston_area_in2: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub calibration: Option<TypedCalibration>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TypedCalibration {
    pub id: String,
    #[serde(rename = "coefficients_kN")]
    pub coefficients_kn: Vec<f64>,
    pub nominal: bool,
}
