//! Slow channels: what a device measures beside tension (SPEC.md section 5.1).
//!
//! The identity lists their kinds once; each status carries their values in the
//! same order. A kind fixes quantity and unit.

use crate::fault::EncodeFault;
use crate::message::id;

/// Slow channels that an identity can list.
pub const MAX_CHANNELS: usize = 4;

/// Kind of a slow channel. Number 0 marks an unused slot.
///
/// Between versions: numbers may be added, none is given another quantity or unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Channel {
    /// 1: a further supply (bridge excitation, say), in mV.
    Supply,
    /// 2: a further temperature on the board, in 0.01 degrees Celsius.
    BoardTemperature,
    /// 3: temperature of the load cell, in 0.01 degrees Celsius.
    CellTemperature,
    /// 4: air pressure at the tool, in kPa above ambient.
    AirPressure,
    /// 5: voltage of the tool's battery, in mV.
    ToolBattery,
    /// 6: mains voltage (root mean square), in mV.
    Mains,
    /// Any other number above 0, kept as it came.
    Other(u8),
}

impl Channel {
    /// The number on the wire.
    #[must_use]
    pub const fn number(self) -> u8 {
        match self {
            Channel::Supply => 1,
            Channel::BoardTemperature => 2,
            Channel::CellTemperature => 3,
            Channel::AirPressure => 4,
            Channel::ToolBattery => 5,
            Channel::Mains => 6,
            Channel::Other(number) => number,
        }
    }

    /// The kind of a number on the wire; unknown ones are kept as [`Channel::Other`].
    #[must_use]
    pub const fn from_number(number: u8) -> Channel {
        match number {
            1 => Channel::Supply,
            2 => Channel::BoardTemperature,
            3 => Channel::CellTemperature,
            4 => Channel::AirPressure,
            5 => Channel::ToolBattery,
            6 => Channel::Mains,
            other => Channel::Other(other),
        }
    }
}

/// Up to [`MAX_CHANNELS`] slow channels in the order of a status's values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Channels {
    numbers: [u8; MAX_CHANNELS],
}

impl Channels {
    /// No slow channel.
    pub const NONE: Channels = Channels { numbers: [0; MAX_CHANNELS] };

    /// # Errors
    /// [`EncodeFault::Value`] for more than [`MAX_CHANNELS`] or for number 0.
    pub fn new(kinds: &[Channel]) -> Result<Channels, EncodeFault> {
        let mut numbers = [0; MAX_CHANNELS];
        if kinds.len() > MAX_CHANNELS || kinds.iter().any(|kind| kind.number() == 0) {
            return Err(EncodeFault::Value { message: id::IDENTITY, field: "channels" });
        }
        for (slot, kind) in numbers.iter_mut().zip(kinds) {
            *slot = kind.number();
        }
        Ok(Channels { numbers })
    }

    /// The kinds, in order.
    pub fn iter(&self) -> impl Iterator<Item = Channel> + '_ {
        let used = self.numbers.iter().take_while(|&&number| number != 0);
        used.map(|&number| Channel::from_number(number))
    }

    /// How many slow channels there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.iter().count()
    }

    /// Whether there is no slow channel.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.numbers[0] == 0
    }

    /// `None` where an unused slot stands before a used one.
    pub(crate) fn from_wire(numbers: [u8; MAX_CHANNELS]) -> Option<Channels> {
        let channels = Channels { numbers };
        let behind = numbers.get(channels.len()..).unwrap_or(&[]);
        behind.iter().all(|&number| number == 0).then_some(channels)
    }

    pub(crate) fn wire(&self) -> &[u8; MAX_CHANNELS] {
        &self.numbers
    }
}
