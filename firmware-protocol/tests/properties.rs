//! What holds for every message and every damage, not only for the vectors.
//!
//! Round trips over generated messages, refusal of single-bit errors, resync after
//! damage and closed accounts of the deframer (SPEC.md sections 2, 3 and 9).
#![allow(clippy::unwrap_used)]

#[path = "support/cases.rs"]
mod support;

use boltscribe_wire::*;
use proptest::prelude::*;
use support::cases;

type Splitter = Deframer<{ MAX_FRAME - 1 }>;

fn text() -> impl Strategy<Value = String> {
    proptest::collection::vec(0x20_u8..=0x7E, 1..=MAX_TEXT)
        .prop_map(|bytes| String::from_utf8(bytes).unwrap())
}

fn status() -> impl Strategy<Value = Status> {
    let channel = proptest::option::of(-i32::MAX..=i32::MAX);
    (
        any::<u32>(),
        any::<u32>(),
        proptest::option::of(0..u16::MAX),
        proptest::option::of(-i16::MAX..=i16::MAX),
        proptest::array::uniform4(channel),
    )
        .prop_map(|(tick, dropped, supply, temperature, channel_values)| Status {
            tick,
            dropped,
            supply_mV: supply,
            temperature_centi_c: temperature,
            channel_values,
        })
}

fn round_trip(message: &Message<'_>) -> Result<(), TestCaseError> {
    let mut out = [0xEE; MAX_FRAME];
    let wire = encode(message, &mut out).unwrap();
    let (delimiter, frame) = wire.split_last().unwrap();
    prop_assert_eq!(*delimiter, DELIMITER);
    prop_assert!(!frame.contains(&DELIMITER));
    let mut scratch = [0xEE; SCRATCH_LEN];
    prop_assert_eq!(decode(frame, &mut scratch), Ok(*message));
    Ok(())
}

/// All chunks of a stream as owned results, and the bytes they account for.
fn split(wire: &[u8], steps: &[usize]) -> (Vec<Vec<u8>>, usize) {
    let mut deframer = Splitter::new();
    let (mut frames, mut accounted, mut rest, mut turn) = (Vec::new(), 0, wire, 0);
    while !rest.is_empty() {
        let (mut now, later) = rest.split_at(steps[turn % steps.len()].min(rest.len()));
        while let Some(chunk) = deframer.push(&mut now) {
            accounted += chunk.stream_len();
            if let Chunk::Frame(frame) = chunk {
                frames.push(frame.to_vec());
            }
        }
        (rest, turn) = (later, turn + 1);
    }
    (frames, accounted + deframer.pending())
}

proptest! {
    #[test]
    fn samples_of_both_packings_survive(
        counts in proptest::collection::vec(any::<i32>(), 1..=MAX_SAMPLES_32),
        sequence: u16, first_tick: u32, ticks_per_sample in 1..=u32::MAX, bits in 0_u8..4, narrow: bool,
    ) {
        let counts: Vec<i32> = counts.iter().map(|&count| if narrow { count >> 8 } else { count }).collect();
        let mut packed = [0; MAX_BODY];
        let (packing, data) = if narrow {
            (Packing::Bits24, pack24(&counts, &mut packed).unwrap())
        } else {
            (Packing::Bits32, pack32(&counts, &mut packed).unwrap())
        };
        let marks = Marks::from_bits(bits).unwrap();
        let samples =
            Samples::new(sequence, first_tick, ticks_per_sample, marks, packing, data).unwrap();
        round_trip(&Message::Samples(samples))?;
        let mut unpacked = vec![0; counts.len()];
        prop_assert_eq!(samples.unpack_into(&mut unpacked), counts.len());
        prop_assert_eq!(&unpacked, &counts);
        let expected = (0..counts.len()).fold(first_tick, |tick, _| tick.wrapping_add(ticks_per_sample));
        prop_assert_eq!(samples.next_tick(), expected);
    }

    #[test]
    fn identities_survive(
        serial in text(), firmware in text(), adc_bits in 8_u8..=32, low: i32, span in 1_i64..=u32::MAX.into(),
        rates in proptest::collection::btree_set(1_u32.., 1..=MAX_RATES), time_scale in 1..=TIME_SCALE_MAX,
        kinds in proptest::collection::vec(1_u8.., 0..=MAX_CHANNELS),
    ) {
        let high = i64::from(low) + span.min((1 << adc_bits) - 1);
        prop_assume!(i32::try_from(high).is_ok());
        let rates: Vec<u32> = rates.into_iter().collect();
        let kinds: Vec<Channel> = kinds.into_iter().map(Channel::from_number).collect();
        let channels = Channels::new(&kinds).unwrap();
        prop_assert_eq!(channels.iter().collect::<Vec<_>>(), kinds);
        round_trip(&Message::Identity(Identity {
            serial: &serial,
            firmware: &firmware,
            adc_bits,
            count_min: low,
            count_max: i32::try_from(high).unwrap(),
            tick_rate_hz: *rates.last().unwrap(),
            time_scale,
            rates_hz: Rates::new(&rates).unwrap(),
            channels,
        }))?;
    }

    #[test]
    fn small_messages_survive(status in status(), number in 1_u16.., about_id: u8, detail: u32, rate_hz in 1_u32..) {
        round_trip(&Message::Status(status))?;
        let fault = Fault::from_number(number);
        prop_assert_eq!(fault.number(), number);
        round_trip(&Message::Refusal(Refusal { fault, about_id, detail }))?;
        round_trip(&Message::Start(Start { rate_hz }))?;
        for message in [Message::Identify, Message::Stop, Message::PollStatus] {
            round_trip(&message)?;
        }
    }

    #[test]
    fn any_bytes_are_refused_or_mean_what_they_reencode_to(frame in proptest::collection::vec(any::<u8>(), 0..2100)) {
        let mut scratch = [0; SCRATCH_LEN];
        if let Ok(message) = decode(&frame, &mut scratch) {
            round_trip(&message)?;
        }
    }

    #[test]
    fn sound_frames_of_any_body_are_refused_or_mean_what_they_reencode_to(
        head in 0_usize..8, payload in proptest::collection::vec(any::<u8>(), 0..140),
    ) {
        // A valid checksum lets the body through to the checks of layout and value.
        let ids = [id::IDENTITY, id::SAMPLES, id::STATUS, id::REFUSAL, id::IDENTIFY, id::START, id::STOP, id::POLL_STATUS];
        let mut raw = vec![PROTOCOL_VERSION, ids[head]];
        raw.extend_from_slice(&payload);
        raw.extend_from_slice(&crc32(&raw).to_le_bytes());
        let mut frame = [0; 200];
        let len = cobs::try_encode(&raw, &mut frame).unwrap();
        let mut scratch = [0; SCRATCH_LEN];
        match decode(&frame[..len], &mut scratch) {
            Ok(message) => round_trip(&message)?,
            Err(DecodeFault::Length { message, .. } | DecodeFault::Value { message, .. }) => {
                prop_assert_eq!(message, ids[head]);
            }
            Err(other) => prop_assert!(false, "{other}"),
        }
    }

    #[test]
    fn splitting_does_not_depend_on_the_chunking_and_accounts_for_every_byte(
        wire in proptest::collection::vec(prop_oneof![Just(0_u8), any::<u8>()], 0..5000),
        steps in proptest::collection::vec(1_usize..300, 1..20),
    ) {
        let (frames, accounted) = split(&wire, &steps);
        prop_assert_eq!(accounted, wire.len());
        let whole: Vec<&[u8]> = wire.split(|&byte| byte == 0).collect();
        // What follows the last delimiter is pending, not a frame.
        prop_assert_eq!(frames, &whole[..whole.len() - 1]);
    }

    #[test]
    fn damage_costs_at_most_its_frame_and_the_next_and_nothing_false_is_accepted(
        picks in proptest::collection::vec(any::<prop::sample::Index>(), 6), hit in 0_usize..6,
        from: prop::sample::Index, len in 0_usize..40, with in proptest::collection::vec(any::<u8>(), 0..40),
    ) {
        let cases = cases();
        let good: Vec<&support::Case> = cases.iter().filter(|case| case.get("message").is_some()).collect();
        let sent: Vec<Vec<u8>> = picks.iter().map(|pick| pick.get(&good).wire()).collect();
        let mut damaged = sent.clone();
        let start = from.index(sent[hit].len());
        let end = (start + len).min(sent[hit].len());
        damaged[hit].splice(start..end, with);
        let wire = damaged.concat();
        let (frames, accounted) = split(&wire, &[64]);
        prop_assert_eq!(accounted, wire.len());
        let accepted = frames.into_iter().filter(|frame| decode(frame, &mut [0; SCRATCH_LEN]).is_ok());
        let accepted: Vec<Vec<u8>> = accepted.map(|frame| [frame, vec![DELIMITER]].concat()).collect();
        // All before the damage in order, all from the next but one on in order.
        prop_assert!(accepted.starts_with(&sent[..hit]));
        prop_assert!(accepted.ends_with(&sent[(hit + 2).min(6)..]));
        for frame in &accepted {
            prop_assert!(sent.iter().any(|sound| frame == sound || same_message(&frame[..frame.len() - 1], sound)));
        }
    }

    #[test]
    fn too_short_a_buffer_counts_overlong_frames_and_goes_on(
        lengths in proptest::collection::vec(0_usize..40, 1..20), steps in proptest::collection::vec(1_usize..50, 1..9),
    ) {
        let wire: Vec<u8> = lengths.iter().flat_map(|&len| [vec![7; len], vec![0]].concat()).collect();
        let mut deframer = Deframer::<16>::new();
        let (mut found, mut rest, mut turn) = (Vec::new(), &wire[..], 0);
        while !rest.is_empty() {
            let (mut now, later) = rest.split_at(steps[turn % steps.len()].min(rest.len()));
            while let Some(chunk) = deframer.push(&mut now) {
                prop_assert_eq!(matches!(chunk, Chunk::Frame(_)), chunk.stream_len() <= 17);
                found.push(chunk.stream_len() - 1);
            }
            (rest, turn) = (later, turn + 1);
        }
        prop_assert_eq!(found, lengths);
        prop_assert_eq!(deframer.pending(), 0);
    }
}

fn same_message(frame: &[u8], sound: &[u8]) -> bool {
    let (mut left, mut right) = ([0; SCRATCH_LEN], [0; SCRATCH_LEN]);
    decode(frame, &mut left) == decode(&sound[..sound.len() - 1], &mut right)
}

#[test]
fn every_single_bit_error_is_refused_and_costs_at_most_the_next_frame() {
    let cases = cases();
    let after = cases.iter().find(|case| case.name() == "status-all").unwrap().wire();
    for case in cases.iter().filter(|case| case.get("message").is_some()) {
        let sound = case.wire();
        for bit in 0..sound.len() * 8 {
            let mut wire = sound.clone();
            wire[bit / 8] ^= 1 << (bit % 8);
            wire.extend_from_slice(&after);
            wire.extend_from_slice(&after);
            let (frames, accounted) = split(&wire, &[usize::MAX]);
            assert_eq!(accounted, wire.len());
            // In a damaged delimiter's place the two frames run together and one is left.
            let kept = if bit / 8 == sound.len() - 1 { 1 } else { 2 };
            let (damaged, whole) = frames.split_at(frames.len() - kept);
            for frame in damaged {
                // Without its optional closing code a frame still says the same (SPEC.md section 2.2).
                let harmless = case.get("reencodes") == Some("no") && same_message(frame, &sound);
                let refused = decode(frame, &mut [0; SCRATCH_LEN]).is_err();
                assert!(refused || harmless, "{} bit {bit} was accepted", case.name());
            }
            for frame in whole {
                assert!(decode(frame, &mut [0; SCRATCH_LEN]).is_ok(), "{} bit {bit}", case.name());
            }
        }
    }
}

#[test]
fn a_zero_before_inside_or_behind_a_frame_is_refused() {
    for case in cases().iter().filter(|case| case.get("message").is_some()) {
        let wire = case.wire();
        let frame = &wire[..wire.len() - 1];
        assert_eq!(decode(&wire, &mut [0; SCRATCH_LEN]), Err(DecodeFault::Cobs), "{}", case.name());
        let late = [&[0], frame].concat();
        assert_eq!(decode(&late, &mut [0; SCRATCH_LEN]), Err(DecodeFault::Cobs), "{}", case.name());
        for at in 0..frame.len() {
            let mut pierced = frame.to_vec();
            pierced[at] = 0;
            let mut scratch = [0; SCRATCH_LEN];
            let found = decode(&pierced, &mut scratch);
            assert_eq!(found, Err(DecodeFault::Cobs), "{} at {at}", case.name());
        }
    }
}

#[test]
fn a_frame_whole_in_the_input_is_not_copied() {
    let wire = [1, 2, 3, 0, 4, 0];
    let mut deframer = Splitter::new();
    let mut rest = &wire[..];
    let Some(Chunk::Frame(frame)) = deframer.push(&mut rest) else {
        panic!("no frame");
    };
    assert_eq!(frame.as_ptr(), wire.as_ptr());
}

#[test]
fn a_reset_forgets_and_tells_how_much() {
    let mut deframer = Splitter::new();
    assert!(deframer.push(&mut &[1_u8, 2, 3][..]).is_none());
    assert_eq!((deframer.pending(), deframer.reset(), deframer.pending()), (3, 3, 0));
    assert_eq!(deframer.push(&mut &[9_u8, 0][..]), Some(Chunk::Frame(&[9])));
}

#[test]
fn too_short_an_output_or_scratch_is_refused_at_every_length() {
    for case in cases().iter().filter(|case| case.get("message").is_some()) {
        let wire = case.wire();
        let frame = &wire[..wire.len() - 1];
        let mut scratch = [0; SCRATCH_LEN];
        let message = decode(frame, &mut scratch).unwrap();
        let raw_len = frame.len() - frame.len().div_ceil(255);
        let enough = (0..=MAX_FRAME).find(|&len| encode(&message, &mut vec![0; len]).is_ok());
        assert!(enough.unwrap() >= wire.len(), "{}", case.name());
        for len in 0..enough.unwrap() {
            let refused = encode(&message, &mut vec![0; len]).unwrap_err();
            assert!(matches!(refused, EncodeFault::OutTooSmall { .. }), "{}", case.name());
        }
        for len in 0..raw_len {
            assert_eq!(decode(frame, &mut vec![0; len]), Err(DecodeFault::TooLong), "{}", case.name());
        }
    }
}

#[test]
fn values_the_wire_cannot_carry_are_refused_when_encoding() {
    let mut out = [0; MAX_FRAME];
    let none = Status {
        tick: 0,
        dropped: 0,
        supply_mV: None,
        temperature_centi_c: None,
        channel_values: [None; MAX_CHANNELS],
    };
    let refused = [
        (Message::Start(Start { rate_hz: 0 }), "rate_hz"),
        (Message::Status(Status { supply_mV: Some(0xFFFF), ..none }), "supply_mV"),
        (Message::Status(Status { temperature_centi_c: Some(i16::MIN), ..none }), "temperature_centi_c"),
        (
            Message::Status(Status { channel_values: [Some(i32::MIN), None, None, None], ..none }),
            "channel_values",
        ),
        (Message::Refusal(Refusal { fault: Fault::Other(0), about_id: 0, detail: 0 }), "fault"),
    ];
    for (message, field) in refused {
        let expected = EncodeFault::Value { message: message.id(), field };
        assert_eq!(encode(&message, &mut out), Err(expected));
    }
    for rates in [&[][..], &[0], &[2, 1], &[1, 1], &[1, 0], &[0; 13]] {
        assert!(Rates::new(rates).is_err(), "{rates:?}");
    }
    assert!(Channels::new(&[Channel::Other(0)]).is_err());
    assert!(Channels::new(&[Channel::Mains; 5]).is_err());
    let samples = |ticks, packing, len| Samples::new(0, 0, ticks, Marks::NONE, packing, &[0; 3000][..len]);
    assert!(samples(1, Packing::Bits24, MAX_SAMPLES_24 * 3).is_ok());
    assert!(samples(1, Packing::Bits24, MAX_SAMPLES_24 * 3 + 3).is_err());
    assert!(samples(1, Packing::Bits32, MAX_SAMPLES_32 * 4).is_ok());
    assert!(samples(1, Packing::Bits32, MAX_SAMPLES_32 * 4 + 4).is_err());
    assert!(samples(1, Packing::Bits24, 4).is_err());
    assert!(samples(1, Packing::Bits24, 0).is_err());
    assert!(samples(0, Packing::Bits24, 3).is_err());
    assert!(pack24(&[0x80_0000], &mut out).is_err());
    assert!(pack24(&[-0x80_0001], &mut out).is_err());
    assert!(pack24(&[0, 0], &mut out[..5]).is_err());
    assert!(pack32(&[0, 0], &mut out[..7]).is_err());
    assert_eq!(Marks::from_bits(4), None);
}
