//! A person's command on its way to a rig, and how its answer is found in what the pipeline says.
//!
//! A pipeline answers with events; `Use` and `Calibrate` hold at once, a zero is taken when the
//! idle reading allows, within `ANSWER_WITHIN_NS`. Orders wait in a bounded queue.

use boltscribe_http::{Refusal, Reply};
use boltscribe_model::control::Command;
use boltscribe_model::time::MonoNs;
use boltscribe_pipeline::Event;
use tokio::sync::oneshot;

/// Orders that may wait for one rig.
pub const ORDERS_MAX: usize = 16;
/// Longest wait for the answer to an order, nanoseconds.
pub const ANSWER_WITHIN_NS: u64 = 3_000_000_000;

/// A command with the way back.
pub struct Order {
    /// Who gave it.
    pub who: String,
    /// What.
    pub command: Command,
    /// Where the answer goes.
    pub reply: oneshot::Sender<Result<Reply, Refusal>>,
}

/// An order that the pipeline has heard and not answered yet.
pub struct Waiting {
    /// The order.
    pub order: Order,
    /// When it was given.
    pub since: MonoNs,
}

/// What an event means for a command.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Obeyed.
    Done,
    /// Not obeyed, and why.
    Refused(String),
}

/// The answer to `command` in this event; none: the event speaks of something else.
#[must_use]
pub fn answer_in(event: &Event, command: &Command) -> Option<Answer> {
    match (event, command) {
        (Event::Refused { reason }, _) => Some(Answer::Refused(reason.clone())),
        (Event::Zeroed { .. }, Command::Zero | Command::RestoreZero { .. }) => Some(Answer::Done),
        (Event::InForce(_), Command::Use { .. }) => Some(Answer::Done),
        _ => None,
    }
}

/// Whether a command holds at once, without an event that says so.
#[must_use]
pub const fn holds_at_once(command: &Command) -> bool {
    match command {
        Command::Use { .. }
        | Command::Calibrate { .. }
        | Command::RestoreZero { .. }
        | Command::AwaitRest { .. } => true,
        Command::Zero => false,
    }
}

impl Order {
    /// Sends the answer; who asked may have gone away.
    pub fn answer(self, rig: &str, answer: Answer) {
        let reply = match answer {
            Answer::Done => Ok(Reply::Done),
            Answer::Refused(reason) => Err(Refusal::Refused { rig: rig.to_owned(), reason }),
        };
        let _ = self.reply.send(reply);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use boltscribe_model::units::Newtons;

    #[test]
    fn only_an_event_about_the_command_answers_it() {
        let zeroed = Event::Zeroed { zero: Newtons(0.0) };
        assert_eq!(answer_in(&zeroed, &Command::Zero), Some(Answer::Done));
        let usage = Command::Use { in_force: boltscribe_model::control::InForce::default() };
        assert_eq!(answer_in(&zeroed, &usage), None);
        let refused = Event::Refused { reason: "not idle".into() };
        assert_eq!(answer_in(&refused, &Command::Zero), Some(Answer::Refused("not idle".into())));
        assert_eq!(answer_in(&Event::Rate { rate_hz: 1.0 }, &Command::Zero), None);
    }
}
