//! Bytes of MIDI 1.0 to control events: the first layer.
//!
//! A [`Splitter`] cuts packets into messages; [`read`] understands one message. Neither allocates, locks or
//! panics, whatever the bytes are: the splitter runs in the driver's callback.

use wmidi::MidiMessage;

/// First controller number that is a channel mode message and no control (MIDI 1.0).
pub const FIRST_MODE_MESSAGE: u8 = 120;

/// What was moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Control {
    /// A continuous controller.
    Cc {
        /// Channel, 0…15 as on the wire; people and maps count from 1.
        channel: u8,
        /// Controller number, 0…119.
        number: u8,
    },
    /// A note, which is how many panels send their buttons.
    Note {
        /// Channel, 0…15.
        channel: u8,
        /// Note number, 0…127.
        number: u8,
    },
    /// The pitch bender, which is how many panels send their faders.
    Bend {
        /// Channel, 0…15.
        channel: u8,
    },
    /// Pressure on the whole channel.
    Pressure {
        /// Channel, 0…15.
        channel: u8,
    },
    /// Pressure on one key or pad.
    KeyPressure {
        /// Channel, 0…15.
        channel: u8,
        /// Note number, 0…127.
        number: u8,
    },
    /// A program change.
    Program {
        /// Channel, 0…15.
        channel: u8,
    },
}

impl Control {
    /// The channel it came on, 0…15.
    pub const fn channel(self) -> u8 {
        match self {
            Self::Cc { channel, .. }
            | Self::Note { channel, .. }
            | Self::Bend { channel }
            | Self::Pressure { channel }
            | Self::KeyPressure { channel, .. }
            | Self::Program { channel } => channel,
        }
    }
}

/// One movement of one control, before anybody decided what its value means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Event {
    /// Which port it came from, as `Plugs` numbers them.
    pub port: usize,
    /// What was moved.
    pub control: Control,
    /// Its data: 0…127, of the pitch bender 0…16383. A controller's means what a [`Coding`](super::Coding)
    /// says; a note's is its velocity, 0 when it is let go; a program's is its number from 0.
    pub value: u16,
}

/// Cuts the packets of one port into channel messages, across packets.
///
/// A packet may hold several messages or a part of one, use running status from an earlier packet, and have
/// real-time bytes inside a message. System messages are left out, exclusive ones also where they go over
/// packets or are cut off by another status byte.
#[derive(Clone, Copy, Debug, Default)]
pub struct Splitter {
    message: [u8; 3],
    /// Bytes gathered into `message`; 0 is "no status byte is in force".
    have: u8,
}

impl Splitter {
    /// Gives `each` the messages that `packet` finishes, of two or three bytes, status byte first.
    pub fn split(&mut self, packet: &[u8], mut each: impl FnMut(&[u8])) {
        for &byte in packet {
            match byte {
                // Real time: may stand anywhere and changes nothing (MIDI 1.0).
                0xF8.. => {}
                // System exclusive and system common end running status (MIDI 1.0), so that the data bytes
                // after them are nobody's until the next status byte, which is what ends an exclusive one.
                0xF0.. => self.have = 0,
                0x80.. => {
                    self.message[0] = byte;
                    self.have = 1;
                }
                _ if self.have == 0 => {}
                _ => {
                    let have = usize::from(self.have);
                    self.message[have] = byte;
                    if have + 1 == length(self.message[0]) {
                        each(&self.message[..=have]);
                        self.have = 1;
                    } else {
                        self.have += 1;
                    }
                }
            }
        }
    }
}

/// [`Splitter::split`] for a packet that nothing came before: what it does not finish is lost, and data bytes
/// at its start belong to nothing.
pub fn split(packet: &[u8], each: impl FnMut(&[u8])) {
    Splitter::default().split(packet, each);
}

/// Bytes in a channel message with this status.
fn length(status: u8) -> usize {
    // Program change and channel pressure have one data byte.
    if matches!(status & 0xF0, 0xC0 | 0xD0) { 2 } else { 3 }
}

/// The control event that one message says, if it says one that this program knows.
pub fn read(port: usize, message: &[u8]) -> Option<Event> {
    let (control, value) = match MidiMessage::try_from(message).ok()? {
        MidiMessage::ControlChange(channel, function, value) => {
            let number = u8::from(function);
            if number >= FIRST_MODE_MESSAGE {
                return None;
            }
            (Control::Cc { channel: channel.index(), number }, u8::from(value).into())
        }
        // A note on with velocity 0 is a note off (MIDI 1.0); how fast a button came up says nothing.
        MidiMessage::NoteOn(channel, note, velocity) => {
            (Control::Note { channel: channel.index(), number: note.into() }, u8::from(velocity).into())
        }
        MidiMessage::NoteOff(channel, note, _) => {
            (Control::Note { channel: channel.index(), number: note.into() }, 0)
        }
        MidiMessage::PitchBendChange(channel, bend) => {
            (Control::Bend { channel: channel.index() }, bend.into())
        }
        MidiMessage::ChannelPressure(channel, pressure) => {
            (Control::Pressure { channel: channel.index() }, u8::from(pressure).into())
        }
        MidiMessage::PolyphonicKeyPressure(channel, note, pressure) => (
            Control::KeyPressure { channel: channel.index(), number: note.into() },
            u8::from(pressure).into(),
        ),
        MidiMessage::ProgramChange(channel, program) => {
            (Control::Program { channel: channel.index() }, u8::from(program).into())
        }
        _ => return None,
    };
    Some(Event { port, control, value })
}

/// The control events in a packet, in order: [`split`], then [`read`].
pub fn events(port: usize, packet: &[u8], mut each: impl FnMut(Event)) {
    split(packet, |message| {
        if let Some(event) = read(port, message) {
            each(event);
        }
    });
}
