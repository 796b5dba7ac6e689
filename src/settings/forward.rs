//! Forwarding: from typed keys to the room's settings. Without an address nothing is forwarded.
//!
//! Keys that need one another are checked here; kinds and ranges were checked before. The token's file is
//! named here and read elsewhere.

use super::problem::Problem;
use super::rig::placed;
use super::rules;
use super::typed::TypedForward;
use boltscribe_forward::Settings;
use config::Value;
use std::path::PathBuf;

/// The typed keys as checked settings; none: nothing is forwarded. `value` is the table they came from.
pub(super) fn checked(value: &Value, typed: TypedForward) -> Result<Option<Settings>, Vec<Problem>> {
    let refused = |key: &str, what: &str| placed(value, "forward", key, what.to_owned());
    let Some(url) = typed.url else {
        let beside = [("token_file", &typed.token_file), ("ca_file", &typed.ca_file)];
        let problems: Vec<Problem> = beside
            .into_iter()
            .filter(|(_, given)| given.is_some())
            .map(|(key, _)| refused(key, "expected forward.url beside it, found none"))
            .collect();
        return if problems.is_empty() { Ok(None) } else { Err(problems) };
    };
    if typed.token_file.is_some() && !rules::keeps_secrets(&url) {
        let what =
            "expected https in forward.url, because the token would pass a network in the open, found http";
        return Err(vec![refused("token_file", what)]);
    }
    Ok(Some(Settings {
        url,
        org: typed.org,
        bucket: typed.bucket,
        token_file: typed.token_file.map(PathBuf::from),
        ca_file: typed.ca_file.map(PathBuf::from),
        health_s: typed.health_s,
        batch_max: typed.batch_max,
        settle_s: typed.settle_s,
    }))
}
