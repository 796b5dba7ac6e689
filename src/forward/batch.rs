//! One batch on its way: halved where it is too large, split where something in it is wrong, until the rows
//! that the server will not have are found and kept apart with its reason; the rest is delivered.
//!
//! A row goes into quarantine only after the server took something else: a server that refuses everything (an
//! address of something else, a proxy in trouble) must not empty the outbox. Must not know how long to wait.

use super::answer::Answer;
use super::courier::Courier;
use super::points::{PROBE, points};
use super::transport::Transport;
use boltscribe_store::{OutboxItem, OutboxRow, OutboxWrite, Write};
use boltscribe_tables::line_protocol::Point;

/// Most bytes of one request (a single row may pass it).
pub const BODY_BYTES_MAX: usize = 1 << 20;

/// Why a batch did not go through.
pub(super) enum Stop {
    /// The server's answer.
    Server(Answer),
    /// Trouble on this side.
    Here(String),
}

/// A row as text, or why it cannot be written.
struct Piece {
    id: i64,
    lines: Result<String, String>,
}

/// Rows as text, in order.
pub(super) struct Batch {
    pieces: Vec<Piece>,
}

impl Batch {
    /// Of the first of these rows, as many as fit into one request.
    pub(super) fn of(rows: Vec<OutboxRow>) -> Self {
        let mut pieces = Vec::new();
        let mut bytes = 0;
        for OutboxRow { id, item } in rows {
            let lines = match item {
                OutboxItem::Health(lines) => Ok(lines),
                item => written(&points(&item)),
            };
            let more = lines.as_ref().map_or(0, String::len);
            if bytes > 0 && bytes + more > BODY_BYTES_MAX {
                break;
            }
            bytes += more;
            pieces.push(Piece { id, lines });
        }
        Self { pieces }
    }

    /// First and last number; none where there is nothing.
    pub(super) fn ends(&self) -> Option<(i64, i64)> {
        Some((self.pieces.first()?.id, self.pieces.last()?.id))
    }

    pub(super) fn rows(&self) -> u64 {
        self.pieces.len() as u64
    }
}

fn written(points: &[Point]) -> Result<String, String> {
    let mut lines = String::new();
    for point in points {
        point.write_to(&mut lines).map_err(|e| e.to_string())?;
    }
    Ok(lines)
}

/// Delivers a batch: on success every row of it was taken by the server or is in quarantine.
pub(super) async fn deliver<T: Transport>(courier: &mut Courier<T>, batch: &Batch) -> Result<(), Stop> {
    let mut kept_apart = 0_u64;
    for piece in &batch.pieces {
        if let Err(reason) = &piece.lines {
            quarantine(courier, piece.id, reason.clone()).await?;
            kept_apart += 1;
        }
    }
    let good: Vec<(i64, &str)> =
        batch.pieces.iter().filter_map(|p| Some((p.id, p.lines.as_deref().ok()?))).collect();
    let sent = split(courier, &good, &mut kept_apart).await;
    if kept_apart > 0 {
        let detail =
            format!("{kept_apart} rows will not be taken by the central store and are in quarantine");
        courier.event("forward-quarantine", detail);
    }
    sent
}

async fn split<T: Transport>(
    courier: &mut Courier<T>,
    rows: &[(i64, &str)],
    kept_apart: &mut u64,
) -> Result<(), Stop> {
    let mut waiting: Vec<&[(i64, &str)]> = if rows.is_empty() { Vec::new() } else { vec![rows] };
    let mut something_taken = false;
    while let Some(part) = waiting.pop() {
        let answer = send(courier, part.iter().map(|(_, lines)| *lines).collect()).await;
        let (too_large, words) = match answer {
            Answer::Taken => {
                something_taken = true;
                continue;
            }
            Answer::TooLarge(words) => (true, words),
            Answer::Refused(words) => (false, words),
            other => return Err(Stop::Server(other)),
        };
        if part.len() > 1 {
            let (front, back) = part.split_at(part.len() / 2);
            if too_large {
                courier.limit = u32::try_from(front.len()).unwrap_or(u32::MAX).max(1);
            }
            waiting.push(back);
            waiting.push(front);
            continue;
        }
        if !something_taken {
            something_taken = takes_anything(courier).await?;
        }
        if !something_taken {
            let words = format!("{words}; the same for a point that is surely right, so all rows are kept");
            return Err(Stop::Server(Answer::Denied(words)));
        }
        for (id, _) in part {
            quarantine(courier, *id, words.clone()).await?;
            *kept_apart += 1;
        }
    }
    Ok(())
}

async fn send<T: Transport>(courier: &Courier<T>, lines: String) -> Answer {
    courier.wires.board.change(|state| state.requests += 1);
    courier.transport.write(lines).await
}

/// Sends a point that no server has a reason to refuse.
async fn takes_anything<T: Transport>(courier: &Courier<T>) -> Result<bool, Stop> {
    let point = Point::new(PROBE, (courier.wires.clock)().utc_ns).integer("value", Some(1));
    let line = point.line().map_err(|e| Stop::Here(e.to_string()))?;
    match send(courier, line).await {
        Answer::Taken => Ok(true),
        Answer::Refused(_) | Answer::TooLarge(_) => Ok(false),
        other => Err(Stop::Server(other)),
    }
}

async fn quarantine<T: Transport>(courier: &Courier<T>, id: i64, reason: String) -> Result<(), Stop> {
    courier.store(Write::Outbox(OutboxWrite::Quarantine { id, reason })).await
}
