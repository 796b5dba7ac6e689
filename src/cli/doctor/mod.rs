//! `doctor`: all that a bug report needs, in one document, even where the door does not open.
//!
//! `host` looks at this machine, `troubles` says what is wrong in what was found.

pub mod host;
pub mod run;
pub mod troubles;

pub use run::run;
