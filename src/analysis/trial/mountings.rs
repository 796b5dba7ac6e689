//! Which mounting each run of a trial belongs to, from what its plan says of taking the coupling off.
//!
//! Must not know which runs count.

use std::collections::HashMap;

/// Names mountings run by run, warm-ups among them, in time order.
#[derive(Clone, Debug, Default)]
pub struct Mountings {
    remount: Option<bool>,
    on: HashMap<String, (String, u32)>,
    count: u32,
}

impl Mountings {
    /// Of a plan that asks for the coupling to be taken off before each run, or to be left on while the setup stays;
    /// none: it says nothing, and nothing is known.
    #[must_use]
    pub fn new(remount: Option<bool>) -> Self {
        Self { remount, ..Self::default() }
    }

    /// The mounting of the next run; none where the plan says nothing, or tool or setup are not known.
    pub fn next(&mut self, tool: Option<&str>, setup: Option<&str>) -> Option<String> {
        let (remount, tool, setup) = (self.remount?, tool?, setup?);
        let stays = self.on.get(tool).filter(|(on, _)| !remount && on == setup).map(|(_, number)| *number);
        let number = stays.unwrap_or_else(|| {
            self.count += 1;
            self.count
        });
        self.on.insert(tool.to_owned(), (setup.to_owned(), number));
        Some(number.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_coupling_that_stays_on_is_one_mounting_until_the_setup_of_its_tool_changes() {
        let runs = [("a", "x"), ("a", "x"), ("b", "x"), ("a", "x"), ("a", "y"), ("a", "x")];
        let names = |remount| {
            let mut mountings = Mountings::new(remount);
            runs.map(|(tool, setup)| mountings.next(Some(tool), Some(setup)).unwrap_or_default())
        };
        assert_eq!(names(Some(false)), ["1", "1", "2", "1", "3", "4"]);
        assert_eq!(names(Some(true)), ["1", "2", "3", "4", "5", "6"]);
        assert_eq!(names(None), [""; 6]);
        assert_eq!(Mountings::new(Some(true)).next(Some("a"), None), None);
    }
}
