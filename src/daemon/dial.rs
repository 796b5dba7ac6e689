//! A rig whose dial a person reads: a seat like any other, without a port, a pipeline or a stream.
//!
//! Readings do not come through here: the API stores them. Here are only the tags in force and the board.

use super::error::DaemonError;
use super::faults::FaultLog;
use super::news::Feed;
use super::order::{Answer, ORDERS_MAX, Order};
use super::rig::{Board, on};
use super::roster::Seat;
use super::start::{Line, Running, Shared, Tasks};
use super::wall::{Wall, look};
use boltscribe_analysis::results::Dial;
use boltscribe_http::{News, RigState};
use boltscribe_model::control::Command;
use boltscribe_pipeline::Event;
use boltscribe_serial as port;
use boltscribe_settings as settings;
use std::sync::{Arc, Mutex};
use tokio::sync::{mpsc, watch};

/// Takes a dial's seat.
///
/// # Errors
/// The store cannot be read.
pub fn start(set: &settings::Rig, dial: &Dial, shared: &Shared) -> Result<Running, DaemonError> {
    let name = set.name.as_str();
    let mut state = RigState::by_hand(name, dial);
    if let Some(row) = shared.readers.reader()?.in_force(name)? {
        state.in_force = row.in_force;
    }
    let board: Board = Arc::new(Mutex::new(state));
    let (orders, orders_in) = mpsc::channel(ORDERS_MAX);
    let (stop, stopped) = watch::channel(false);
    let desk = Desk {
        name: name.to_owned(),
        board: Arc::clone(&board),
        feed: shared.feed.clone(),
        wall: Arc::clone(&shared.wall),
    };
    let thread = tokio::spawn(desk.run(orders_in, stopped));
    let faults: Arc<Mutex<FaultLog>> = Arc::default();
    let port_counters = Arc::<port::Counters>::default();
    let seat = Seat { name: name.to_owned(), board, orders, port_counters, faults };
    let tasks = Some(Tasks { thread, port: None, postman: None });
    let (line, pulse) = (Line::Own, Arc::default());
    Ok(Running { settings: set.clone(), seat, line, stop, stream: None, pulse, tasks })
}

/// Takes the orders of people.
struct Desk {
    name: String,
    board: Board,
    feed: Feed,
    wall: Arc<Wall>,
}

impl Desk {
    async fn run(self, mut orders: mpsc::Receiver<Order>, mut stop: watch::Receiver<bool>) {
        loop {
            tokio::select! {
                biased;
                _ = stop.wait_for(|stop| *stop) => return,
                Some(order) = orders.recv() => self.take(order),
            }
        }
    }

    fn take(&self, order: Order) {
        let answer = match &order.command {
            Command::Use { in_force } => {
                on(&self.board).in_force = in_force.clone();
                let utc_ns = self.wall.utc_ns(look().mono);
                let event = Event::InForce(Box::new(in_force.clone()));
                self.feed.tell(&self.name, utc_ns, News::Event(event));
                Answer::Done
            }
            Command::Zero
            | Command::RestoreZero { .. }
            | Command::AwaitRest { .. }
            | Command::Calibrate { .. } => Answer::Refused("its dial is read by hand".to_owned()),
        };
        order.answer(&self.name, answer);
    }
}
