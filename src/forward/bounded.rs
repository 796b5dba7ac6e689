//! Runs a request so that its answer has a maximum, where the client that makes it sets none.
//!
//! The client collects the whole body of an answer and offers no way in between. But it takes at most one buffer of its
//! connection in each step (poll) where both share one thread: the connection hands over a piece only when the one
//! before was taken. So requests run on a thread of their own, and one that needs more than [`STEPS_MAX`] steps is
//! dropped, and its connection with it. Must not know what is sent, nor what the answer means.

use std::future::Future;
use std::pin::Pin;
use std::task::{Context, Poll};
use tokio::sync::{mpsc, oneshot};

/// Most steps of a request: connecting, TLS and a short answer take some ten. A buffer of hyper 0.14 is at most
/// 8 + 4 \* 100 KiB, so 26 MB are held at worst.
pub const STEPS_MAX: u32 = 64;

type Job = Pin<Box<dyn Future<Output = ()> + Send>>;

/// Why there is no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unfinished {
    /// It took more steps than any answer that is meant.
    TooLong,
    /// The thread is gone.
    Ended,
}

/// A thread on which requests run, one at a time; it ends with this.
pub struct Bounded(mpsc::UnboundedSender<Job>);

impl Bounded {
    /// Starts the thread.
    ///
    /// # Errors
    /// What the system says.
    pub fn new() -> std::io::Result<Self> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        let (jobs, mut waiting) = mpsc::unbounded_channel::<Job>();
        std::thread::Builder::new().name("forward-request".into()).spawn(move || {
            runtime.block_on(async {
                while let Some(job) = waiting.recv().await {
                    job.await;
                }
            });
        })?;
        Ok(Self(jobs))
    }

    /// Runs a request. It is dropped where nobody waits for it any more.
    ///
    /// # Errors
    /// See [`Unfinished`].
    pub async fn run<T: Send + 'static>(
        &self,
        request: impl Future<Output = T> + Send + 'static,
    ) -> Result<T, Unfinished> {
        let (mut answer, answered) = oneshot::channel();
        let steps = Steps { request: Box::pin(request), left: STEPS_MAX };
        let job = Box::pin(async move {
            let done = tokio::select! {
                done = steps => done,
                () = answer.closed() => return,
            };
            let _ = answer.send(done);
        });
        self.0.send(job).map_err(|_| Unfinished::Ended)?;
        answered.await.unwrap_or(Err(Unfinished::Ended))
    }
}

/// A future that may be polled so often.
struct Steps<F> {
    request: Pin<Box<F>>,
    left: u32,
}

impl<F: Future> Future for Steps<F> {
    type Output = Result<F::Output, Unfinished>;

    fn poll(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Self::Output> {
        match self.left.checked_sub(1) {
            None => Poll::Ready(Err(Unfinished::TooLong)),
            Some(left) => {
                self.left = left;
                self.request.as_mut().poll(context).map(Ok)
            }
        }
    }
}
