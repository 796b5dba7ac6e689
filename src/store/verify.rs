//! Looking through the audit chain: does each kept row still say what it said when it was committed, and is none missing,
//! added or out of its place?
//!
//! Reads only. What the chain covers is in `audit.rs`; whether samples unpack and columns agree with documents is the
//! business of `check.rs`. A chain that was cut short at its end still holds: that shows only against a head that was
//! written down before.

use super::audit::{self, Link, ORIGIN, SUBJECTS};
use super::check::FAULTS_MAX;
use super::error::StoreError;
use super::reader::Reader;
use super::write::Write;
use rusqlite::OptionalExtension;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Links read at a time.
const PAGE: i64 = 500;
/// Rows without a link that are named for each table.
const NAMED_MAX: usize = 10;

/// The end of a chain, to be compared with one that was written down: `NUMBER:LINK`, the link as 64 hexadecimal digits.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(as = AuditHead)]
pub struct Head {
    /// Number of the last link.
    pub number: i64,
    /// The link.
    pub link: String,
}

impl std::fmt::Display for Head {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}:{}", self.number, self.link)
    }
}

impl std::str::FromStr for Head {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let expected = || format!("expected NUMBER:LINK with 64 hexadecimal digits, found '{text}'");
        let (number, link) = text.trim().split_once(':').ok_or_else(expected)?;
        let number = number.parse().ok().filter(|number| *number > 0).ok_or_else(expected)?;
        if link.len() != 64 || !link.bytes().all(|b| b.is_ascii_hexdigit()) {
            return Err(expected());
        }
        Ok(Self { number, link: link.to_ascii_lowercase() })
    }
}

/// What a look through the chain found.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct VerifyReport {
    /// Nothing was found.
    pub ok: bool,
    /// Links looked at.
    pub links: u64,
    /// The last link; null in a store without rows.
    pub head: Option<Head>,
    /// What is wrong.
    pub faults: Vec<String>,
    /// Findings beyond those kept.
    pub further_faults: u64,
}

impl VerifyReport {
    /// The event that tells of it.
    #[must_use]
    pub fn event(&self, who: &str, utc_ns: i64) -> Write {
        let faults = self.faults.len() as u64 + self.further_faults;
        let first = self.faults.first().map_or_else(String::new, |fault| format!("; first: {fault}"));
        let detail = format!("by {who}: {faults} fault(s) in {} links{first}", self.links);
        Write::Event { utc_ns, kind: "store-verify".into(), detail }
    }

    fn find(&mut self, finding: String) {
        if self.faults.len() < FAULTS_MAX {
            self.faults.push(finding);
        } else {
            self.further_faults += 1;
        }
    }
}

/// A link as it is stored.
struct Stored {
    id: i64,
    subject: String,
    row: i64,
    flags: Option<String>,
    link: Link,
}

impl Reader {
    /// Looks through the chain. `known` is a head that was written down before: it must be in the chain.
    ///
    /// # Errors
    /// The store is so damaged that the chain cannot be read at all; smaller damage is a finding.
    pub fn verify(&self, known: Option<&Head>) -> Result<VerifyReport, StoreError> {
        let mut report = VerifyReport::default();
        let (mut after, mut before) = (0_i64, ORIGIN);
        loop {
            let page = self.links(after)?;
            let Some(last) = page.last() else { break };
            let next = last.id;
            for link in page {
                if link.id != after + 1 {
                    report.find(format!("audit: expected link {}, found link {}", after + 1, link.id));
                }
                self.verify_link(&mut report, before, &link);
                if known.is_some_and(|known| known.number == link.id && known.link != hex(&link.link)) {
                    report.find(format!("audit: link {} is not the one that was written down", link.id));
                }
                (after, before) = (link.id, link.link);
                report.links += 1;
            }
            after = next;
        }
        if let Some(known) = known.filter(|known| known.number > after) {
            report.find(format!(
                "audit: expected link {} that was written down, found the chain ended at {after}",
                known.number
            ));
        }
        report.head = (report.links > 0).then(|| Head { number: after, link: hex(&before) });
        self.verify_rows(&mut report)?;
        report.ok = report.faults.is_empty();
        Ok(report)
    }

    /// The last link of the chain.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn audit_head(&self) -> Result<Option<Head>, StoreError> {
        let head = audit::head(self.connection()).map_err(|error| self.failed(error))?;
        Ok(head.map(|(number, link)| Head { number, link: hex(&link) }))
    }

    fn links(&self, after: i64) -> Result<Vec<Stored>, StoreError> {
        self.all(
            "SELECT id, subject, row, flags, link FROM audit WHERE id > ?1 ORDER BY id LIMIT ?2",
            [after, PAGE],
            |row| {
                Ok(Stored {
                    id: row.get(0)?,
                    subject: row.get(1)?,
                    row: row.get(2)?,
                    flags: row.get(3)?,
                    link: row.get(4)?,
                })
            },
        )
    }

    fn verify_link(&self, report: &mut VerifyReport, before: Link, link: &Stored) {
        let name = || format!("{} {}", link.subject, link.row);
        if !SUBJECTS.contains(&link.subject.as_str()) {
            report.find(format!("audit: link {} is of an unknown table '{}'", link.id, link.subject));
            return;
        }
        let subject = (link.subject.as_str(), link.row);
        match audit::link_of(self.connection(), before, subject, link.flags.as_deref()) {
            Ok(Some(now)) if now == link.link => {}
            Ok(Some(_)) => report.find(format!("{}: it is not what was committed", name())),
            Ok(None) => report.find(format!("{}: it was committed and is gone", name())),
            Err(error) => report.find(format!("{}: it does not read back: {error}", name())),
        }
        if let Some(then) = &link.flags {
            self.verify_flags(report, link, then);
        }
    }

    /// The flags of a run are those of its closing; until it is closed, and for a reading by hand, those of its row.
    fn verify_flags(&self, report: &mut VerifyReport, link: &Stored, then: &str) {
        // One statement, so that a run that closes meanwhile is seen before or after it.
        let now = self
            .connection()
            .prepare_cached(
                "SELECT EXISTS (SELECT 1 FROM closings WHERE run = ?1),
                        (SELECT json_group_array(flag) FROM
                            (SELECT flag FROM run_flags WHERE run = ?1 ORDER BY flag))",
            )
            .and_then(|mut select| {
                select
                    .query_row([link.row], |row| Ok((row.get::<_, bool>(0)?, row.get::<_, String>(1)?)))
                    .optional()
            });
        let read = |text: &str| serde_json::from_str::<Vec<String>>(text).unwrap_or_default();
        match now {
            Ok(Some((closed, now))) => {
                let first_of_two = closed && link.subject == "runs";
                let (then, now) = (read(then), read(&now));
                let holds =
                    if first_of_two { then.iter().all(|flag| now.contains(flag)) } else { then == now };
                if !holds {
                    report.find(format!(
                        "runs {}: expected its flags to be [{}], found [{}]",
                        link.row,
                        then.join(" "),
                        now.join(" ")
                    ));
                }
            }
            Ok(None) => {}
            Err(error) => report.find(format!("runs {}: its flags do not read back: {error}", link.row)),
        }
    }

    /// Each row has its link: what was added past the program has none.
    fn verify_rows(&self, report: &mut VerifyReport) -> Result<(), StoreError> {
        for subject in SUBJECTS {
            let sql = format!(
                "SELECT (SELECT COUNT(*) FROM {subject}), (SELECT COUNT(*) FROM audit WHERE subject = ?1)"
            );
            let counts =
                self.first(&sql, [subject], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, i64>(1)?)))?;
            let Some((rows, links)) = counts.filter(|(rows, links)| rows != links) else { continue };
            let sql = format!(
                "SELECT rowid FROM {subject} WHERE rowid NOT IN (SELECT row FROM audit WHERE subject = ?1) LIMIT {NAMED_MAX}"
            );
            let strangers = self.all(&sql, [subject], |row| row.get::<_, i64>(0))?;
            for row in &strangers {
                report.find(format!("{subject} {row}: it has no link, so this program did not commit it"));
            }
            if strangers.is_empty() {
                report.find(format!("{subject}: expected {links} rows by their links, found {rows}"));
            }
        }
        Ok(())
    }
}

fn hex(link: &Link) -> String {
    use std::fmt::Write;
    link.iter().fold(String::new(), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}
