//! Messages and faults in the words of `vectors/*.txt` (SPEC.md section 10).
//!
//! The only place where names of the vector files meet the crate's types.
#![allow(dead_code)]

use boltscribe_wire::*;

fn words<T: ToString>(values: impl IntoIterator<Item = T>) -> String {
    let words: Vec<String> = values.into_iter().map(|value| value.to_string()).collect();
    words.join(" ")
}

fn or_none<T: ToString>(value: Option<T>) -> String {
    value.map_or("none".to_owned(), |value| value.to_string())
}

/// Message name and fields as a vector file writes them. No wildcard arm: a new
/// message does not compile until it has a name here, and then needs a vector.
pub fn fields_of(message: &Message<'_>) -> Vec<(&'static str, String)> {
    let (name, mut fields): (&'static str, Vec<(&'static str, String)>) = match message {
        Message::Identity(identity) => (
            "identity",
            vec![
                ("adc_bits", identity.adc_bits.to_string()),
                ("time_scale", identity.time_scale.to_string()),
                ("tick_rate_hz", identity.tick_rate_hz.to_string()),
                ("count_min", identity.count_min.to_string()),
                ("count_max", identity.count_max.to_string()),
                ("rates_hz", words(identity.rates_hz.as_slice())),
                ("channels", words(identity.channels.iter().map(Channel::number))),
                ("serial", identity.serial.to_owned()),
                ("firmware", identity.firmware.to_owned()),
            ],
        ),
        Message::Samples(samples) => {
            let mut counts = vec![0; samples.count()];
            assert_eq!(samples.unpack_into(&mut counts), counts.len());
            (
                "samples",
                vec![
                    ("sequence", samples.sequence.to_string()),
                    ("first_tick", samples.first_tick.to_string()),
                    ("ticks_per_sample", samples.ticks_per_sample.to_string()),
                    ("marks", samples.marks.bits().to_string()),
                    ("packing", samples.packing().number().to_string()),
                    ("count", samples.count().to_string()),
                    ("counts", words(counts)),
                ],
            )
        }
        Message::Status(status) => (
            "status",
            vec![
                ("tick", status.tick.to_string()),
                ("dropped", status.dropped.to_string()),
                ("supply_mV", or_none(status.supply_mV)),
                ("temperature_centi_c", or_none(status.temperature_centi_c)),
                ("channel_values", words(status.channel_values.map(or_none))),
            ],
        ),
        Message::Refusal(refusal) => (
            "refusal",
            vec![
                ("fault_number", refusal.fault.number().to_string()),
                ("about_id", refusal.about_id.to_string()),
                ("detail", refusal.detail.to_string()),
            ],
        ),
        Message::Identify => ("identify", vec![]),
        Message::Start(start) => ("start", vec![("rate_hz", start.rate_hz.to_string())]),
        Message::Stop => ("stop", vec![]),
        Message::PollStatus => ("poll-status", vec![]),
    };
    fields.insert(0, ("message", name.to_owned()));
    fields
}

pub fn fault_of(fault: DecodeFault) -> Vec<(&'static str, String)> {
    let text = |value: &str| value.to_owned();
    match fault {
        DecodeFault::Empty => vec![("fault", text("empty"))],
        DecodeFault::TooLong => vec![("fault", text("too-long"))],
        DecodeFault::Cobs => vec![("fault", text("cobs"))],
        DecodeFault::TooShort => vec![("fault", text("too-short"))],
        DecodeFault::Crc { expected, found } => {
            vec![("fault", text("crc")), ("expected", expected.to_string()), ("found", found.to_string())]
        }
        DecodeFault::Version(found) => vec![("fault", text("version")), ("found", found.to_string())],
        DecodeFault::UnknownMessage(found) => {
            vec![("fault", text("unknown-message")), ("found", found.to_string())]
        }
        DecodeFault::Length { message, expected, found } => vec![
            ("fault", text("length")),
            ("about", message.to_string()),
            ("expected", expected.to_string()),
            ("found", found.to_string()),
        ],
        DecodeFault::Value { message, field } => {
            vec![("fault", text("value")), ("about", message.to_string()), ("field", field.to_owned())]
        }
        other => panic!("a fault without a name in the vector files: {other:?}"),
    }
}
