//! How far it is, on a terminal and nowhere else.
//!
//! Drawing is the crate `indicatif`'s. Must not know what is counted.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar on standard error.
pub struct Progress(ProgressBar);

impl Progress {
    /// Of so many; 0: nobody knows.
    #[must_use]
    pub fn new(of: u64, what: &str) -> Self {
        // Draws nothing where standard error is no terminal.
        let bar = ProgressBar::with_draw_target(Some(of), ProgressDrawTarget::stderr());
        let template = "{msg} {wide_bar} {percent} %  {eta}";
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        bar.set_message(what.to_owned());
        Self(bar)
    }

    /// It stands here now.
    pub fn at(&self, position: u64) {
        self.0.set_position(position);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
