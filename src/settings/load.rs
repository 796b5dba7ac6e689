//! Loading: defaults, file, environment and rig files laid over one another, then checked as a whole.
//!
//! The config crate lays the layers; everything that it would coerce or overlook was refused before it
//! sees a value. This file reads files, and must not open ports or stores.

use super::checked::{Daemon, Settings, Store};
use super::problem::{PROBLEMS_MAX, Place, Problem, Text};
use super::rig::{Rig, at, checked};
use super::schema::RIG;
use super::show::{Shown, shown};
use super::typed::Typed;
use super::walk::{Walk, whole_file};
use super::{environment, forward, limit, rig, rules};
use boltscribe_signal::runs;
use config::{Config, Map, Source, Value, ValueKind};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

/// Most rigs of a daemon.
pub const RIGS_MAX: usize = 32;
/// Longest settings file, bytes.
const FILE_BYTES_MAX: u64 = 1 << 20;

/// Settings, and where each value was set.
#[derive(Clone, Debug, PartialEq)]
pub struct Loaded {
    /// The checked settings.
    pub settings: Settings,
    /// Every value with its source.
    pub values: Vec<Shown>,
}

impl Settings {
    /// Loads the settings: defaults, then `file` where one is given, then the variables, then rig files.
    ///
    /// # Errors
    /// Every mistake found, at most 100; a file that cannot be read is one.
    pub fn load(
        file: Option<&Path>,
        environment: impl Iterator<Item = (String, String)>,
    ) -> Result<Loaded, Vec<Problem>> {
        let text = file.map(read).transpose().map_err(|problem| vec![problem])?;
        assemble(text.as_ref(), environment, rig_files)
    }
}

/// A layer of values.
#[derive(Clone, Debug)]
struct Layer(Map<String, Value>);

impl Source for Layer {
    fn clone_into_box(&self) -> Box<dyn Source + Send + Sync> {
        Box::new(self.clone())
    }

    fn collect(&self) -> Result<Map<String, Value>, config::ConfigError> {
        Ok(self.0.clone())
    }
}

/// Lays the layers and checks the whole; `rig_files` reads the rig files of a folder.
pub(super) fn assemble(
    file: Option<&Text>,
    environment: impl Iterator<Item = (String, String)>,
    rig_files: impl Fn(&Path) -> Result<Vec<Text>, Vec<Problem>>,
) -> Result<Loaded, Vec<Problem>> {
    let (from_file, mut problems) = file.map_or_else(Default::default, Walk::file);
    let (from_environment, more) = environment::layer(environment);
    problems.extend(more);
    stop_on(problems)?;
    let mut merged = lay([built_in(), from_file, from_environment])?;
    let folder: String = merged.get("store.folder").map_err(|error| internal(&error))?;
    let (rigs, problems) = collect_rigs(&merged, &rig_files(Path::new(&folder))?);
    stop_on(problems)?;
    let rig_layer = Map::from_iter([("rig".to_owned(), Value::from(rigs.clone()))]);
    merged = Config::builder()
        .add_source(merged)
        .add_source(Layer(rig_layer))
        .build()
        .map_err(|error| internal(&error))?;
    let typed: Typed = merged.clone().try_deserialize().map_err(|error| internal(&error))?;
    let limits = merged.get_array("limit").unwrap_or_default();
    let settings = check(typed, &rigs, &limits, [&table(&merged, "daemon"), &table(&merged, "forward")])?;
    Ok(Loaded { settings, values: shown(&merged.cache) })
}

/// A table with the places where its keys were set.
fn table(merged: &Config, name: &str) -> Value {
    let all = merged.cache.clone().into_table().unwrap_or_default();
    all.get(name).cloned().unwrap_or_else(|| Value::from(Map::<String, Value>::new()))
}

fn lay(layers: [Map<String, Value>; 3]) -> Result<Config, Vec<Problem>> {
    layers
        .into_iter()
        .fold(Config::builder(), |builder, layer| builder.add_source(Layer(layer)))
        .build()
        .map_err(|error| internal(&error))
}

/// The built-in defaults as the lowest layer.
fn built_in() -> Map<String, Value> {
    let Settings { daemon, store, measure, .. } = Settings::default();
    let unset = boltscribe_forward::Settings::default();
    let origin = Place::BuiltIn.to_string();
    let leaf = |name: &str, kind: ValueKind| (name.to_owned(), Value::new(Some(&origin), kind));
    let gates: Vec<Value> = measure.gates_s.into_iter().map(Value::from).collect();
    let tensions: Vec<Value> = measure.tensions_kn.into_iter().map(Value::from).collect();
    let tables = [
        (
            "daemon",
            vec![leaf("listen", daemon.listen.to_string().into()), leaf("log", daemon.log.word().into())],
        ),
        ("store", vec![leaf("folder", store.folder.to_string_lossy().into_owned().into())]),
        (
            "measure",
            vec![
                leaf("gates_s", gates.into()),
                leaf("lowpass_hz", measure.lowpass_hz.into()),
                leaf("short_s", measure.short_s.into()),
                leaf("tensions_kN", tensions.into()),
            ],
        ),
        (
            "forward",
            vec![
                leaf("org", unset.org.into()),
                leaf("bucket", unset.bucket.into()),
                leaf("health_s", i64::from(unset.health_s).into()),
                leaf("batch_max", i64::from(unset.batch_max).into()),
                leaf("settle_s", i64::from(unset.settle_s).into()),
            ],
        ),
    ];
    tables.into_iter().map(|(name, leaves)| (name.to_owned(), Value::from(Map::from_iter(leaves)))).collect()
}

/// The rigs of the settings file, then those of the rig files.
fn collect_rigs(merged: &Config, files: &[Text]) -> (Vec<Value>, Vec<Problem>) {
    let mut rigs = merged.get_array("rig").unwrap_or_default();
    let mut problems = Vec::new();
    for text in files {
        let (values, more) = Walk::one_table(text, "rig", RIG);
        problems.extend(more);
        rigs.push(Value::new(Some(&text.place(0).to_string()), values));
    }
    if let Some(first_over) = rigs.get(RIGS_MAX) {
        let what = format!("expected at most {RIGS_MAX} rigs, found {}", rigs.len());
        problems.push(at(first_over, "rig", what));
    }
    (rigs, problems)
}

fn check(
    typed: Typed,
    rigs: &[Value],
    limits: &[Value],
    tables: [&Value; 2],
) -> Result<Settings, Vec<Problem>> {
    let [daemon, forward] = tables;
    let measure = runs::Settings {
        gates_s: typed.measure.gates_s,
        lowpass_hz: typed.measure.lowpass_hz,
        start_threshold_kn: typed.measure.start_threshold_kn,
        zero_shift_limit_kn: typed.measure.zero_shift_limit_kn,
        range_kn: None,
        short_s: typed.measure.short_s,
        tensions_kn: typed.measure.tensions_kn,
    };
    let mut good: Vec<Rig> = Vec::new();
    let mut problems = Vec::new();
    for (value, typed) in rigs.iter().zip(typed.rig) {
        match checked(value, typed, &measure) {
            Ok(rig) => good.push(rig),
            Err(more) => problems.extend(more),
        }
    }
    if problems.is_empty() {
        problems.extend(repeats(rigs, &good));
    }
    stop_on(problems)?;
    let forward = forward::checked(forward, typed.forward)?;
    let limits = limit::checked(limits, typed.limit)?;
    let listen: SocketAddr = rules::listen(&typed.daemon.listen)
        .and_then(|()| typed.daemon.listen.parse().map_err(|_| "an address".to_owned()))
        .map_err(|expected| vec![whole_file("daemon.listen", format!("expected {expected}"))])?;
    if !SocketAddr::ip(&listen).is_loopback() && typed.daemon.tokens_file.is_none() {
        let what =
            format!("expected daemon.tokens_file beside an address that others reach, found {listen} alone");
        return Err(vec![rig::placed(daemon, "daemon", "listen", what)]);
    }
    Ok(Settings {
        daemon: Daemon {
            listen,
            host: typed.daemon.host,
            tokens_file: typed.daemon.tokens_file.map(PathBuf::from),
            time_zone: typed.daemon.time_zone.and_then(|name| jiff::tz::TimeZone::get(&name).ok()),
            log: typed.daemon.log,
        },
        store: Store { folder: PathBuf::from(typed.store.folder) },
        measure,
        forward,
        limits,
        rigs: good,
    })
}

/// Names and ports that two rigs share; `values` and `rigs` go side by side.
fn repeats(values: &[Value], rigs: &[Rig]) -> Vec<Problem> {
    let mut problems = Vec::new();
    for (index, (value, rig)) in values.iter().zip(rigs).enumerate() {
        let mut earlier = values.iter().zip(&rigs[..index]);
        if let Some((other, _)) = earlier.clone().find(|(_, r)| r.name == rig.name) {
            let first = at(other, "name", String::new()).place;
            let what = format!("expected a name of its own, found '{}' at {first} too", rig.name);
            problems.push(at(value, "name", what));
        }
        if let Some((other, _)) = earlier.find(|(_, r)| rig.port().is_some() && r.port() == rig.port()) {
            let first = at(other, "port", String::new()).place;
            let port = rig.port().unwrap_or_default();
            let what = format!("expected a port of its own, found '{port}' at {first} too");
            problems.push(at(value, "port", what));
        }
    }
    problems
}

fn stop_on(mut problems: Vec<Problem>) -> Result<(), Vec<Problem>> {
    problems.truncate(PROBLEMS_MAX);
    if problems.is_empty() { Ok(()) } else { Err(problems) }
}

/// The layers were checked before, so an error of the config crate is a fault of this room.
fn internal(error: &config::ConfigError) -> Vec<Problem> {
    vec![whole_file("settings", format!("cannot lay the layers: {error}"))]
}

/// Reads a settings file.
fn read(path: &Path) -> Result<Text, Problem> {
    let name = path.to_string_lossy().into_owned();
    let cannot = |error: std::io::Error| whole_file(&name, format!("cannot read the settings: {error}"));
    let length = std::fs::metadata(path).map_err(cannot)?.len();
    if length > FILE_BYTES_MAX {
        let what = format!("expected at most {FILE_BYTES_MAX} bytes, found {length}");
        return Err(whole_file(&name, what));
    }
    let bytes = std::fs::read(path).map_err(cannot)?;
    let text = String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        whole_file(&name, format!("expected UTF-8 text, found another byte at offset {at}"))
    })?;
    Ok(Text { name, text })
}

/// Reads the files `FOLDER/rigs/*.toml` in order of their names; no folder means no rigs.
fn rig_files(folder: &Path) -> Result<Vec<Text>, Vec<Problem>> {
    let rigs = folder.join("rigs");
    let entries = match std::fs::read_dir(&rigs) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => {
            let what = format!("cannot read the folder of rig files: {error}");
            return Err(vec![whole_file(&rigs.to_string_lossy(), what)]);
        }
    };
    let mut paths: Vec<PathBuf> = entries
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .collect();
    paths.sort();
    paths.iter().map(|path| read(path).map_err(|problem| vec![problem])).collect()
}

#[cfg(test)]
#[path = "load_tests.rs"]
mod tests;
