//! A store in a folder, a router over it, and rigs that only remember what they were told.
//!
//! Makes no claim of its own.

use crate::held::{Answers, Kind};
use crate::sample::T0_NS;
use axum::body::Body;
use axum::http::{Method, Request, StatusCode};
use boltscribe::compare::acceptance::Limit;
use boltscribe::compare::{ClassLimit, LimitUnit};
use boltscribe::control::{Command, InForce};
use boltscribe::frames::Guess;
use boltscribe::http::{
    Hear, Heard, Later, Link, LiveMessage, News, PortState, Refusal, Reply, RigState, Rigs, State, router,
};
use boltscribe::pipeline::Counters;
use boltscribe::results::{Dial, DialUnit, Measure};
use boltscribe::store::{Mode, Store};
use http_body_util::BodyExt;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::sync::{Arc, Mutex};
use tokio::sync::{OnceCell, broadcast};
use tower::ServiceExt;

pub struct FakeRigs {
    pub told: Mutex<Vec<(String, String, Command)>>,
    pub news: broadcast::Sender<Arc<LiveMessage>>,
    pub served: bool,
    /// It takes no command.
    pub deaf: AtomicBool,
}

pub fn rig_state(rig: &str, link: Link) -> RigState {
    RigState {
        rig: rig.into(),
        port: Some(format!("/dev/serial/by-id/{rig}")),
        link,
        link_detail: None,
        stale: link != Link::Up,
        simulated: true,
        identity: None,
        rate_hz: Some(2000.0),
        tension_kn: Some(1.25),
        counts: Some(12_500),
        zero_kn: Some(0.5),
        running: None,
        driving: false,
        awaits_rest: false,
        trouble: None,
        in_force: InForce::default(),
        calibration: Some("cell-1".into()),
        nominal: false,
        range_kn: Some(100.0),
        gates_s: vec![3.0],
        dial: None,
        standing: Vec::new(),
        counters: Counters { bytes_in: 77, ..Counters::default() },
    }
}

impl Rigs for FakeRigs {
    fn rigs(&self) -> Vec<RigState> {
        let other = if self.served { Link::Down } else { Link::NotServed };
        let bench = if self.served { Link::Up } else { Link::NotServed };
        let dial = Dial {
            unit: DialUnit::Kn,
            piston_area: None,
            resolution: 0.1,
            range_kn: Some(250.0),
            correction: None,
        };
        vec![rig_state("bench", bench), rig_state("other", other), RigState::by_hand("press", &dial)]
    }

    fn command<'a>(
        &'a self,
        rig: &'a str,
        who: &'a str,
        command: Command,
    ) -> Later<'a, Result<Reply, Refusal>> {
        Box::pin(async move {
            if !self.served {
                return match command {
                    Command::Use { .. } => Ok(Reply::AtNextStart),
                    _ => Err(Refusal::NotServed(rig.into())),
                };
            }
            if self.deaf.load(Ordering::Relaxed) {
                return Err(Refusal::Refused {
                    rig: rig.into(),
                    reason: "too many orders are waiting".into(),
                });
            }
            self.told.lock().unwrap().push((rig.into(), who.into(), command));
            Ok(Reply::Done)
        })
    }

    fn keep<'a>(
        &'a self,
        rig: &'a Value,
        _replace: bool,
        _head: &'a str,
    ) -> Later<'a, Result<String, Refusal>> {
        Box::pin(
            async move { Ok(format!("/var/lib/boltscribe/rigs/{}.toml", rig["name"].as_str().unwrap())) },
        )
    }

    fn drop_rig<'a>(&'a self, _rig: &'a str) -> Later<'a, Result<(), Refusal>> {
        Box::pin(async move { Ok(()) })
    }

    fn hear<'a>(&'a self, _at: &'a Hear) -> Later<'a, Result<Heard, Refusal>> {
        let guess = Guess { rate_hz: Some(80.0), ..Guess::default() };
        let heard = Heard { bytes: 7, lines: vec!["1".into()], guess: Some(guess), ..Heard::default() };
        Box::pin(async move { Ok(heard) })
    }

    fn tell(&self, rig: &str, utc_ns: i64, news: News) {
        let _ = self.news.send(Arc::new(LiveMessage { rig: rig.into(), utc_ns, news }));
    }

    fn subscribe(&self) -> broadcast::Receiver<Arc<LiveMessage>> {
        self.news.subscribe()
    }

    fn ports(&self) -> Vec<PortState> {
        vec![PortState {
            path: "/dev/serial/by-id/bench".into(),
            device: None,
            not_allowed: None,
            rig: Some("bench".into()),
        }]
    }
}

pub struct House {
    pub store: Store,
    pub rigs: Arc<FakeRigs>,
    pub router: axum::Router,
    pub state: State,
    clock_utc_ns: Arc<AtomicI64>,
    /// Answers that were held to a schema that tells their members.
    pub held: Mutex<BTreeSet<Kind>>,
    pub _folder: tempfile::TempDir,
}

impl House {
    pub fn new() -> Self {
        Self::with(true)
    }

    pub fn with(served: bool) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Mode::Create).unwrap();
        let rigs = Arc::new(FakeRigs {
            told: Mutex::default(),
            news: broadcast::channel(16).0,
            served,
            deaf: AtomicBool::new(false),
        });
        let limit = ClassLimit {
            class: "depot".into(),
            setup: "bare".into(),
            measure: Measure::Held,
            limit: Limit::Lower(70.0),
            unit: LimitUnit::Kilonewtons,
            looks: None,
        };
        let clock_utc_ns = Arc::new(AtomicI64::new(T0_NS));
        let clock = Arc::clone(&clock_utc_ns);
        let state = State {
            readers: store.readers(),
            writer: Some(store.writer()),
            rigs: rigs.clone(),
            now_utc_ns: Arc::new(move || clock.load(Ordering::Relaxed)),
            zone: jiff::tz::TimeZone::UTC,
            limits: Arc::new([limit]),
            turns: Default::default(),
            trial_lines: Default::default(),
        };
        let router = router(state.clone());
        Self { store, rigs, router, state, clock_utc_ns, held: Mutex::default(), _folder: folder }
    }

    /// A rig as it is shown.
    pub fn rigs_state(&self, rig: &str) -> RigState {
        self.rigs.rigs().into_iter().find(|state| state.rig == rig).unwrap()
    }

    /// The file that its store lies in.
    pub fn store_file(&self) -> std::path::PathBuf {
        self._folder.path().join("store.sqlite")
    }

    /// Sets the clock, which else stands still, to so many seconds after its beginning.
    pub fn is_later(&self, seconds: i64) {
        self.clock_utc_ns.store(T0_NS + seconds * 1_000_000_000, Ordering::Relaxed);
    }

    pub async fn ask(&self, method: Method, path: &str, body: Option<Value>) -> (StatusCode, Value) {
        let (status, answer, kind) = ask_and_hold(&self.router, method, path, body).await;
        self.held.lock().unwrap().extend(kind);
        (status, answer)
    }

    pub async fn get(&self, path: &str) -> Value {
        let (status, answer) = self.ask(Method::GET, path, None).await;
        assert_eq!(status, StatusCode::OK, "{path}: {answer}");
        answer
    }

    /// An answer that is no JSON: a page, a drawing.
    pub async fn text(&self, path: &str) -> String {
        let request = Request::get(path).body(Body::empty()).unwrap();
        let response = self.router.clone().oneshot(request).await.unwrap();
        let status = response.status();
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        let text = String::from_utf8(bytes.to_vec()).unwrap();
        assert_eq!(status, StatusCode::OK, "{path}: {text}");
        text
    }

    pub async fn done(&self, method: Method, path: &str, body: Value) -> Value {
        let (status, answer) = self.ask(method, path, Some(body)).await;
        assert_eq!(status, StatusCode::OK, "{path}: {answer}");
        answer
    }

    pub async fn created(&self, path: &str, body: Value) -> Value {
        let (status, answer) = self.ask(Method::POST, path, Some(body)).await;
        assert_eq!(status, StatusCode::CREATED, "{path}: {answer}");
        answer
    }

    pub async fn refused(&self, method: Method, path: &str, body: Option<Value>) -> (u16, String) {
        let (status, answer) = self.ask(method, path, body).await;
        assert!(!status.is_success(), "{path}: {answer}");
        assert_eq!(answer["type"], "about:blank", "{path}: {answer}");
        assert_eq!(answer["status"], status.as_u16());
        (status.as_u16(), answer["detail"].as_str().unwrap().to_owned())
    }

    /// Two pieces, two setups, two tools, a battery and a bolt.
    pub async fn furnish(&self) {
        let documents = [
            ("pieces/socket", json!({"kind": "socket", "drive_in": "1/2"})),
            ("pieces/ext", json!({"kind": "extension", "drive_in": "1/2", "drive_out": "1/2"})),
            ("setups/bare", json!({"pieces": ["socket"]})),
            ("setups/long", json!({"pieces": ["ext", "socket"]})),
            ("tools/wrench", json!({"anvil": "1/2", "source": "battery", "class": "depot"})),
            ("tools/air one", json!({"anvil": "1/2", "source": "air"})),
            ("tools/big", json!({"anvil": "3/4", "source": "battery"})),
            ("sources/b1", json!({"kind": "battery"})),
            (
                "bolts/m20",
                json!({"thread": "M20x2.5", "diameter_mm": 20.0, "allowed_kN": 120.0,
                       "factor": {"given": "nut-factor", "nut_factor": 0.16}}),
            ),
        ];
        for (path, mut document) in documents {
            document["name"] = path.split_once('/').unwrap().1.into();
            let path = format!("/api/v1/shelf/{}", path.replace(' ', "%20"));
            let body = json!({"who": "Ana", "document": document});
            self.done(Method::PUT, &path, body).await;
        }
    }
}

/// The schemas of all answers, read once.
pub async fn answers() -> &'static Answers {
    static ANSWERS: OnceCell<Answers> = OnceCell::const_new();
    ANSWERS
        .get_or_init(|| async {
            let house = House::new();
            let request = Request::get("/api/v1/openapi.json").body(Body::empty()).unwrap();
            let response = house.router.clone().oneshot(request).await.unwrap();
            let bytes = response.into_body().collect().await.unwrap().to_bytes();
            Answers::new(&serde_json::from_slice(&bytes).unwrap())
        })
        .await
}

pub async fn ask(
    router: &axum::Router,
    method: Method,
    path: &str,
    body: Option<Value>,
) -> (StatusCode, Value) {
    let (status, answer, _) = ask_and_hold(router, method, path, body).await;
    (status, answer)
}

async fn ask_and_hold(
    router: &axum::Router,
    method: Method,
    path: &str,
    body: Option<Value>,
) -> (StatusCode, Value, Option<Kind>) {
    let request = Request::builder().method(method.clone()).uri(path);
    let request = match body {
        None => request.body(Body::empty()),
        Some(body) => request.header("content-type", "application/json").body(Body::from(body.to_string())),
    };
    let response = router.clone().oneshot(request.unwrap()).await.unwrap();
    let status = response.status();
    let is_json = response.headers().get("content-type").is_some_and(|kind| kind == "application/json");
    let bytes = response.into_body().collect().await.unwrap().to_bytes();
    let answer = serde_json::from_slice(&bytes).unwrap_or(Value::Null);
    let kind = match status.is_success() && is_json {
        true => answers().await.hold(&method, path, status, &answer),
        false => None,
    };
    (status, answer, kind)
}
