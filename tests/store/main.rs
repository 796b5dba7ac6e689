//! The store from outside: what was acknowledged is there, nothing is changed, damage is told.

mod crash;
mod keeping;
mod opening;
mod sample;
mod verdicts;
