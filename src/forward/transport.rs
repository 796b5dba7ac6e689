//! How finished lines reach the server: the crate influxdb2 behind a small trait.
//!
//! The crate panics on a bad address, drops a path in it, has no timeouts and calls all but 204 an error: so
//! the address is checked first, a path is refused, the client is built with timeouts, and the status is sorted
//! by `answer.rs`. It hides the header Retry-After; `backoff.rs` waits instead. It takes an answer of any length, so
//! it runs on a thread of its own that counts its steps (`bounded.rs`). Must not know what the lines say.

use super::answer::Answer;
use std::future::Future;
use std::time::Duration;

/// Longest wait for a connection.
pub const CONNECT_WITHIN: Duration = Duration::from_secs(3);
/// Longest wait for a whole answer.
pub const ANSWER_WITHIN: Duration = Duration::from_secs(10);

/// What the server says of its own start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Start {
    /// Seconds since 1970, by its own clock.
    At(f64),
    /// It answers, but does not tell.
    Untold,
    /// It does not answer.
    Away,
}

/// The way to a server.
pub trait Transport: Send + Sync {
    /// Sends lines.
    fn write(&self, lines: String) -> impl Future<Output = Answer> + Send;
    /// Asks when the server started.
    fn start(&self) -> impl Future<Output = Start> + Send;
}

/// Reads `process_start_time_seconds` from metrics in the Prometheus text format.
#[must_use]
pub fn start_in(metrics: &str) -> Start {
    let told = metrics.lines().find_map(|line| {
        let rest = line.strip_prefix("process_start_time_seconds")?;
        rest.split_whitespace().next()?.parse::<f64>().ok().filter(|s| s.is_finite() && *s > 0.0)
    });
    told.map_or(Start::Untold, Start::At)
}

#[cfg(feature = "forward")]
pub use wired::Influx;

#[cfg(feature = "forward")]
mod wired {
    use super::{ANSWER_WITHIN, CONNECT_WITHIN, Start, Transport, start_in};
    use crate::answer::{Answer, printable, sorted};
    use crate::bounded::{Bounded, Unfinished};
    use crate::settings::Settings;
    use crate::token::Token;
    use influxdb2::{Client, ClientBuilder, RequestError};
    use reqwest::{Certificate, Url, redirect};

    /// Most bytes of metrics that are read.
    const METRICS_BYTES_MAX: usize = 4 << 20;
    /// Longest body that is believed; what may be in memory before it is given up, `bounded.rs` says.
    const BODY_BYTES_MAX: usize = 64 << 10;

    /// A server that speaks the write interface of InfluxDB v2.
    pub struct Influx {
        client: Client,
        own: Bounded,
        plain: reqwest::Client,
        metrics: Url,
        org: String,
        bucket: String,
    }

    impl Influx {
        /// Makes a client; nothing is sent yet. Blocks for as long as reading two small files takes.
        ///
        /// # Errors
        /// An address that cannot be used, a token that cannot be read, certificates that are none.
        pub fn new(settings: &Settings) -> Result<Self, String> {
            let base = Url::parse(&settings.url).map_err(|e| {
                format!("cannot forward to '{}': expected an address, found {e}", settings.url)
            })?;
            if base.path() != "/" || base.query().is_some() || base.host_str().is_none() {
                return Err(format!("cannot forward to '{}': expected no path after the host", settings.url));
            }
            let token = settings.token_file.as_deref().map(Token::read).transpose()?.unwrap_or_default();
            let metrics = base.join("/metrics").map_err(|e| format!("cannot forward: {e}"))?;
            let plain = builder(settings)?.build().map_err(|e| format!("cannot forward: {}", words(&e)))?;
            let client = ClientBuilder::with_builder(builder(settings)?, base, &settings.org, token.expose())
                .build()
                .map_err(|e| format!("cannot forward: {e}"))?;
            let own = Bounded::new().map_err(|e| format!("cannot forward: {e}"))?;
            Ok(Self {
                client,
                own,
                plain,
                metrics,
                org: settings.org.clone(),
                bucket: settings.bucket.clone(),
            })
        }
    }

    /// Without redirects and proxies: the token goes to the address that was set and to no other.
    fn builder(settings: &Settings) -> Result<reqwest::ClientBuilder, String> {
        let mut builder = reqwest::Client::builder()
            .connect_timeout(CONNECT_WITHIN)
            .timeout(ANSWER_WITHIN)
            .redirect(redirect::Policy::none())
            .no_proxy()
            // The bound of an answer is that of HTTP/1: a step takes one buffer of a connection.
            .http1_only()
            .pool_max_idle_per_host(1)
            .user_agent(concat!("boltscribe/", env!("CARGO_PKG_VERSION")));
        if let Some(path) = &settings.ca_file {
            let cannot = |what: String| format!("cannot read the certificates in {}: {what}", path.display());
            let pem = std::fs::read(path).map_err(|e| cannot(e.to_string()))?;
            let all = Certificate::from_pem_bundle(&pem).map_err(|e| cannot(words(&e)))?;
            if all.is_empty() {
                return Err(cannot("expected at least one in PEM, found none".into()));
            }
            builder = all.into_iter().fold(builder, reqwest::ClientBuilder::add_root_certificate);
        }
        Ok(builder)
    }

    fn too_long() -> String {
        format!("the server's answer is longer than {BODY_BYTES_MAX} bytes")
    }

    /// An error with its causes: the outermost alone says only that sending failed.
    fn words(error: &reqwest::Error) -> String {
        let mut text = error.to_string();
        let mut cause = std::error::Error::source(error);
        while let Some(inner) = cause {
            text = format!("{text}: {inner}");
            cause = inner.source();
        }
        printable(&text)
    }

    impl Transport for Influx {
        async fn write(&self, lines: String) -> Answer {
            let (client, org, bucket) = (self.client.clone(), self.org.clone(), self.bucket.clone());
            let sent = async move { client.write_line_protocol(&org, &bucket, lines).await };
            match self.own.run(sent).await {
                Ok(Ok(())) => Answer::Taken,
                Ok(Err(RequestError::Http { text, .. })) if text.len() > BODY_BYTES_MAX => {
                    Answer::Failed(too_long())
                }
                Ok(Err(RequestError::Http { status, text })) => sorted(status.as_u16(), &text),
                Ok(Err(RequestError::ReqwestProcessing { source })) => Answer::Failed(words(&source)),
                Ok(Err(other)) => Answer::Failed(printable(&other.to_string())),
                Err(Unfinished::TooLong) => Answer::Failed(too_long()),
                Err(Unfinished::Ended) => Answer::Failed("the thread that sends has ended".into()),
            }
        }

        /// Carries no token: where metrics need one, the server counts as one that does not tell.
        async fn start(&self) -> Start {
            let Ok(mut answer) = self.plain.get(self.metrics.clone()).send().await else {
                return Start::Away;
            };
            if !answer.status().is_success() {
                return if answer.status().is_server_error() { Start::Away } else { Start::Untold };
            }
            let mut bytes = Vec::new();
            loop {
                match answer.chunk().await {
                    Ok(Some(chunk)) if bytes.len() + chunk.len() <= METRICS_BYTES_MAX => {
                        bytes.extend_from_slice(&chunk)
                    }
                    Ok(None) => return start_in(&String::from_utf8_lossy(&bytes)),
                    Ok(Some(_)) => return Start::Untold,
                    Err(_) => return Start::Away,
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_start_is_read_from_metrics_where_it_is_told() {
        let text = "# TYPE process_start_time_seconds gauge\nprocess_start_time_seconds_more 3\nprocess_start_time_seconds 1764082774\n";
        assert_eq!(start_in(text), Start::At(1_764_082_774.0));
        assert_eq!(start_in("process_start_time_seconds 1.76408277412e+09\n"), Start::At(1_764_082_774.12));
        for text in ["", "go_threads 3\n", "process_start_time_seconds\n", "process_start_time_seconds NaN\n"]
        {
            assert_eq!(start_in(text), Start::Untold, "{text}");
        }
    }
}
