//! Under which conditions a trial was run: rig, calibration, test bolt and its factor.
//!
//! Must not know the results.

use super::html::Document;
use super::trial::{Sheet, told};
use boltscribe_analysis::metrology::KeptCalibration;
use boltscribe_model::setups::{GivenFactor, TestBolt};
use jiff::civil::Date;

/// Writes them.
pub fn write(document: &mut Document, sheet: &Sheet<'_>) {
    let units = sheet.units;
    document.section("Rig, calibration and test bolt", |d| {
        let mut facts = vec![("rig", sheet.row.plan.rig.clone())];
        for (name, kept) in sheet.calibrations {
            facts.push(("calibration", calibration_words(name, kept.as_ref(), sheet.today)));
        }
        match sheet.bolt {
            None => facts.push(("test bolt", "not told".to_owned())),
            Some(bolt) => {
                facts.push(("test bolt", format!("{}, thread {}", bolt.name, bolt.thread)));
                facts.push(("its factor", factor_words(bolt)));
                facts.push(("its lubricant", told(bolt.lubricant.as_ref())));
                facts.push((
                    "its allowed tension",
                    bolt.allowed_kn.map_or_else(
                        || "NO LIMIT SET".to_owned(),
                        |kn| format!("{} {}", units.tension(kn), units.force()),
                    ),
                ));
            }
        }
        d.facts(&facts);
        if sheet.calibrations.iter().any(|(_, kept)| kept.is_none()) {
            d.note(
                "A nominal calibration is not against a reference: tensions and torques are approximate. Percents do \
                 not hang on its gain.",
            );
        }
    });
}

fn calibration_words(name: &str, kept: Option<&KeptCalibration>, today: Date) -> String {
    let Some(kept) = kept else { return format!("{name} (nominal, not against a reference)") };
    let taken = &kept.taken;
    let until = taken.valid_until.map_or_else(|| "no day told".to_owned(), |day| day.to_string());
    let expired = if kept.expired_on(today) { ", EXPIRED" } else { "" };
    format!(
        "{name}, performed on {} against {} (certificate {}, {} % with k = {}), holds until {until}{expired}",
        taken.performed_on,
        taken.reference.standard,
        taken.reference.certificate,
        taken.reference.uncertainty_percent,
        taken.reference.coverage_factor
    )
}

fn factor_words(bolt: &TestBolt) -> String {
    match bolt.factor {
        None => "not set: no equivalent torque".to_owned(),
        Some(GivenFactor::Measured { n_per_nm, sd_n_per_nm, tightenings, wrench_uncertainty_percent }) => {
            format!(
                "{n_per_nm:.2} N per N·m, measured over {tightenings} tightenings (SD {sd_n_per_nm:.2}) with a wrench known to \
             {wrench_uncertainty_percent} % (k = 2){}",
                bolt.factor_source.as_ref().map_or_else(String::new, |source| format!(": {source}"))
            )
        }
        Some(GivenFactor::Ratio { n_per_nm }) => format!("{n_per_nm:.2} N per N·m, given, not measured"),
        Some(GivenFactor::RatioLbf { lbf_per_lbf_ft }) => {
            format!("{lbf_per_lbf_ft:.3} lbf per lbf·ft, given, not measured")
        }
        Some(GivenFactor::NutFactor { nut_factor }) => {
            format!("from a nut factor of {nut_factor} and {} mm, given, not measured", bolt.diameter_mm)
        }
    }
}
