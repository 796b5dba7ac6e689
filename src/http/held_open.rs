//! What a token holds open: it ends when the token is taken back.
//!
//! A request is let in once, but a feed, an export or a copy of the store goes on. Must not know roles.

use super::access::{Access, Mark};
use axum::body::{Body, Bytes, HttpBody};
use axum::response::Response;
use hyper::body::{Frame, SizeHint};
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

/// How often a token is looked for while it holds something open.
const LOOKED_EVERY: Duration = Duration::from_millis(500);

/// The token that somebody came in with.
#[derive(Clone)]
pub struct Pass {
    access: Arc<Access>,
    mark: Mark,
}

impl Pass {
    /// Of a token that was let in.
    #[must_use]
    pub fn new(access: &Arc<Access>, token: &str) -> Self {
        Self { access: Arc::clone(access), mark: Mark::of(token) }
    }

    /// Ends when the token is taken back.
    pub async fn taken_back(self) {
        let mut looks = tokio::time::interval(LOOKED_EVERY);
        loop {
            looks.tick().await;
            if !self.access.knows(&self.mark) {
                return;
            }
        }
    }
}

/// Ends when the token is taken back; never where none is asked for.
pub async fn taken_back(pass: Option<Pass>) {
    match pass {
        Some(pass) => pass.taken_back().await,
        None => std::future::pending().await,
    }
}

/// Breaks an answer off when the token is taken back; one whose length is known is whole already.
pub fn watched(response: Response, pass: Pass) -> Response {
    if response.body().size_hint().exact().is_some() {
        return response;
    }
    response.map(|body| Body::new(Watched { body, taken_back: Box::pin(pass.taken_back()) }))
}

struct Watched {
    body: Body,
    taken_back: Pin<Box<dyn Future<Output = ()> + Send>>,
}

impl HttpBody for Watched {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        if self.taken_back.as_mut().poll(context).is_ready() {
            // For good: it is not polled again after an end.
            self.taken_back = Box::pin(std::future::ready(()));
            return Poll::Ready(Some(Err(axum::Error::new("the token was taken back"))));
        }
        Pin::new(&mut self.body).poll_frame(context)
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}
