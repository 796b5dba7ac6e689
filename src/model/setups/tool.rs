//! Tools under test: name, anvil, what drives them.
//!
//! A tool is one physical thing, told from others of its class by its serial number. Names are what the
//! user enters; the program ships none. This file must not know pieces.

use super::drive::{Drive, End};
use super::name::{NameError, check_optional, check_text};
use super::source::{Source, SourceKind};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// One tool.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Tool {
    /// Its name, unique among tools.
    pub name: String,
    /// Size of its anvil (or hexagon chuck).
    #[schema(value_type = String)]
    pub anvil: Drive,
    /// What drives it.
    pub source: SourceKind,
    /// Serial number.
    #[serde(default)]
    pub serial: Option<String>,
    /// A group it is compared within, in the user's words.
    #[serde(default)]
    pub class: Option<String>,
}

/// Why a tool was not taken, or not with this source.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ToolError {
    /// A name, serial number or class.
    #[error(transparent)]
    Text(#[from] NameError),
    /// Another kind of energy source than the tool takes.
    #[error("tool '{tool}' takes {expected}: source '{source_name}' is {found}")]
    Source {
        /// The tool.
        tool: String,
        /// What it takes.
        expected: SourceKind,
        /// The source offered.
        source_name: String,
        /// What that is.
        found: SourceKind,
    },
}

impl Tool {
    /// Checks name, serial number and class.
    ///
    /// # Errors
    /// A text that breaks the rule for texts.
    pub fn check(&self) -> Result<(), ToolError> {
        check_text("tool name", &self.name)?;
        check_optional("tool serial", self.serial.as_deref())?;
        check_optional("tool class", self.class.as_deref())?;
        Ok(())
    }

    /// Checks that `source` is of the kind this tool takes.
    ///
    /// # Errors
    /// Another kind of source.
    pub fn check_source(&self, source: &Source) -> Result<(), ToolError> {
        if source.kind == self.source {
            return Ok(());
        }
        Err(ToolError::Source {
            tool: self.name.clone(),
            expected: self.source,
            source_name: source.name.clone(),
            found: source.kind,
        })
    }

    /// The end that drives the first piece.
    #[must_use]
    pub const fn end_out(&self) -> End {
        self.anvil.driving_end()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tool_takes_only_its_own_kind_of_source() {
        let tool = Tool {
            name: "T1".into(),
            anvil: Drive::Square1_2,
            source: SourceKind::Battery,
            serial: None,
            class: None,
        };
        assert_eq!(tool.check(), Ok(()));
        let mut source = Source { name: "line 2".into(), kind: SourceKind::Air, serial: None };
        assert_eq!(
            tool.check_source(&source).unwrap_err().to_string(),
            "tool 'T1' takes battery: source 'line 2' is air"
        );
        source.kind = SourceKind::Battery;
        assert_eq!(tool.check_source(&source), Ok(()));
    }

    #[test]
    fn a_class_is_a_text_like_any_other() {
        let json = r#"{"name":"T1","anvil":"3/4 in","source":"air","class":""}"#;
        let tool: Tool = serde_json::from_str(json).unwrap();
        assert_eq!(
            tool.check().unwrap_err().to_string(),
            "tool class: expected 1 to 64 characters, found none"
        );
    }
}
