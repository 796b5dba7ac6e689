//! Seeded random messages, the same on every machine.
//!
//! The generator is SplitMix64 (Steele, Lea and Flood, OOPSLA 2014). Values are drawn so that edges come often:
//! the ends of ranges, zeros, whole blocks of byte stuffing.
#![allow(dead_code, clippy::unwrap_used)]

use boltscribe_wire::*;

/// Messages of the crate.
pub const KINDS: usize = 8;

/// A number for each message. No wildcard arm: a new message does not compile until it is counted, and then
/// needs to be drawn.
pub fn kind(message: &Message<'_>) -> usize {
    match message {
        Message::Identity(_) => 0,
        Message::Samples(_) => 1,
        Message::Status(_) => 2,
        Message::Refusal(_) => 3,
        Message::Identify => 4,
        Message::Start(_) => 5,
        Message::Stop => 6,
        Message::PollStatus => KINDS - 1,
    }
}

pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Random {
        Random(seed)
    }

    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() % u64::try_from(end).unwrap()).unwrap()
    }

    pub fn byte(&mut self) -> u8 {
        (self.next() & 0xFF) as u8
    }

    /// Small numbers, large ones and both ends.
    pub fn u32(&mut self) -> u32 {
        match self.below(6) {
            0 => 0,
            1 => u32::MAX,
            2 => (self.next() & 0xFF) as u32,
            _ => (self.next() & 0xFFFF_FFFF) as u32,
        }
    }

    fn i32(&mut self) -> i32 {
        self.u32().cast_signed()
    }

    fn maybe<T>(&mut self, value: T) -> Option<T> {
        (self.below(4) != 0).then_some(value)
    }

    fn text(&mut self) -> String {
        let len = 1 + self.below(MAX_TEXT);
        (0..len).map(|_| char::from(b' ' + self.byte() % 95)).collect()
    }

    fn identity(&mut self, use_it: impl FnOnce(&Message<'_>)) {
        let (serial, firmware) = (self.text(), self.text());
        let adc_bits = 8 + u8::try_from(self.below(25)).unwrap();
        let span = 1 + i64::try_from(self.next() % ((1 << adc_bits) - 1)).unwrap();
        let room = i64::from(u32::MAX) - span;
        let low =
            i64::from(i32::MIN) + i64::try_from(self.next() % u64::try_from(room + 1).unwrap()).unwrap();
        let mut rates: Vec<u32> = (0..=self.below(MAX_RATES)).map(|_| self.u32().max(1)).collect();
        rates.sort_unstable();
        rates.dedup();
        let kinds = self.below(MAX_CHANNELS + 1);
        let kinds: Vec<Channel> = (0..kinds).map(|_| Channel::from_number(self.byte().max(1))).collect();
        use_it(&Message::Identity(Identity {
            serial: &serial,
            firmware: &firmware,
            adc_bits,
            count_min: i32::try_from(low).unwrap(),
            count_max: i32::try_from(low + span).unwrap(),
            tick_rate_hz: self.u32().max(*rates.last().unwrap()),
            time_scale: 1 + u16::try_from(self.below(usize::from(TIME_SCALE_MAX))).unwrap(),
            rates_hz: Rates::new(&rates).unwrap(),
            channels: Channels::new(&kinds).unwrap(),
        }));
    }

    fn samples(&mut self, use_it: impl FnOnce(&Message<'_>)) {
        let narrow = self.below(2) == 0;
        let most = if narrow { MAX_SAMPLES_24 } else { MAX_SAMPLES_32 };
        let most = if self.below(20) == 0 { most } else { 100 };
        let len = if self.below(100) == 0 { most } else { 1 + self.below(most) };
        // Counts without a zero byte make long blocks of byte stuffing.
        let full = self.below(3) == 0;
        let counts: Vec<i32> = (0..len)
            .map(|_| {
                let count = if full { self.i32() | 0x0101_0101 } else { self.i32() };
                if narrow { count >> 8 } else { count }
            })
            .collect();
        let mut packed = [0; MAX_BODY];
        let (packing, data) = if narrow {
            (Packing::Bits24, pack24(&counts, &mut packed).unwrap())
        } else {
            (Packing::Bits32, pack32(&counts, &mut packed).unwrap())
        };
        let marks = Marks::from_bits(self.byte() & 3).unwrap();
        let sequence = (self.u32() & 0xFFFF) as u16;
        let (first_tick, step) = (self.u32(), self.u32().max(1));
        use_it(&Message::Samples(Samples::new(sequence, first_tick, step, marks, packing, data).unwrap()));
    }

    /// Draws a message and lends it.
    pub fn message(&mut self, use_it: impl FnOnce(&Message<'_>)) {
        match self.below(KINDS) {
            0 => self.identity(use_it),
            1 => self.samples(use_it),
            2 => {
                let supply = (self.u32() & 0xFFFF) as u16;
                let temperature = (self.u32() & 0xFFFF) as u16;
                let values = [(); MAX_CHANNELS].map(|()| self.i32().max(-i32::MAX));
                use_it(&Message::Status(Status {
                    tick: self.u32(),
                    dropped: self.u32(),
                    supply_mV: self.maybe(supply.min(0xFFFE)),
                    temperature_centi_c: self.maybe(temperature.cast_signed().max(-i16::MAX)),
                    channel_values: values.map(|value| self.maybe(value)),
                }));
            }
            3 => {
                let fault = Fault::from_number(((self.u32() & 0xFFFF) as u16).max(1));
                use_it(&Message::Refusal(Refusal { fault, about_id: self.byte(), detail: self.u32() }));
            }
            4 => use_it(&Message::Identify),
            5 => use_it(&Message::Start(Start { rate_hz: self.u32().max(1) })),
            6 => use_it(&Message::Stop),
            _ => use_it(&Message::PollStatus),
        }
    }
}
