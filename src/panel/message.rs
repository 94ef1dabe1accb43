//! Bytes of MIDI 1.0 to control events: the first layer.
//!
//! [`split`] cuts a packet into messages; [`read`] understands one message. Neither allocates, locks or
//! panics, whatever the bytes are: `split` runs in the driver's callback.

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
}

/// One movement of one control, before anybody decided what its value means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Event {
    /// Which port it came from, as `Plugs` numbers them.
    pub port: usize,
    /// What was moved.
    pub control: Control,
    /// The data byte, 0…127. A controller's means what a [`Coding`](super::Coding) says; a note's is its
    /// velocity, 0 when it is let go.
    pub value: u8,
}

/// Cuts `packet` into channel messages of two or three bytes, each with its status byte first.
///
/// A packet may hold several messages, use running status, have real-time bytes inside a message, and
/// hold pieces of system exclusive messages: those and all other system messages are left out, as is
/// a message that the packet does not finish. Data bytes at its start are left out too: they may as well
/// be the rest of a long system exclusive message as the use of an earlier packet's status.
pub fn split(packet: &[u8], mut each: impl FnMut(&[u8])) {
    let mut message = [0u8; 3];
    // Bytes gathered into `message`; 0 is "no status byte is in force".
    let mut have = 0;
    for &byte in packet {
        match byte {
            // Real time: may stand anywhere and changes nothing (MIDI 1.0).
            0xF8.. => {}
            // System exclusive and system common end running status (MIDI 1.0).
            0xF0.. => have = 0,
            0x80.. => {
                message[0] = byte;
                have = 1;
            }
            _ if have == 0 => {}
            _ => {
                message[have] = byte;
                have += 1;
                if have == length(message[0]) {
                    each(&message[..have]);
                    have = 1;
                }
            }
        }
    }
}

/// Bytes in a channel message with this status.
fn length(status: u8) -> usize {
    // Program change and channel pressure have one data byte.
    if matches!(status & 0xF0, 0xC0 | 0xD0) { 2 } else { 3 }
}

/// The control event that one message says, if it says one that this program knows.
pub fn read(port: usize, message: &[u8]) -> Option<Event> {
    match MidiMessage::try_from(message).ok()? {
        MidiMessage::ControlChange(channel, function, value) => {
            let number = u8::from(function);
            (number < FIRST_MODE_MESSAGE).then(|| Event {
                port,
                control: Control::Cc { channel: channel.index(), number },
                value: u8::from(value),
            })
        }
        // A note on with velocity 0 is a note off (MIDI 1.0); how fast a button came up says nothing.
        MidiMessage::NoteOn(channel, note, velocity) => {
            Some(note_event(port, channel, note, velocity.into()))
        }
        MidiMessage::NoteOff(channel, note, _) => Some(note_event(port, channel, note, 0)),
        _ => None,
    }
}

fn note_event(port: usize, channel: wmidi::Channel, note: wmidi::Note, value: u8) -> Event {
    Event { port, control: Control::Note { channel: channel.index(), number: u8::from(note) }, value }
}

/// The control events in a packet, in order: [`split`], then [`read`].
pub fn events(port: usize, packet: &[u8], mut each: impl FnMut(Event)) {
    split(packet, |message| {
        if let Some(event) = read(port, message) {
            each(event);
        }
    });
}
