//! Fine controls: two controllers that make one value of 14 bits.
//!
//! MIDI 1.0: controllers 0…31 carry the upper seven bits, the controllers 32 above them the lower seven; an
//! upper half sets the lower to 0, and a fine adjustment may send the lower half alone. Common practice adds
//! devices that send the lower half first. Acting on each byte would then make saw-teeth, so that a byte
//! which may be the first of two waits for the other.

/// From the controller with a pair's upper half to the one with its lower half.
pub const LSB_ABOVE: u8 = 32;

/// How long a byte waits for the other of its pair, in microseconds; a message takes 960 on a MIDI 1.0
/// cable.
pub const PAIR_WAIT: u64 = 3_000;

/// The largest value of 14 bits.
pub const FINE_MOST: u16 = 0x3FFF;

/// Which half of a pair.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Half {
    /// The upper seven bits.
    Msb,
    /// The lower seven bits.
    Lsb,
}

/// What is known of one pair on one channel.
#[derive(Clone, Copy, Debug, Default)]
pub struct Pair {
    msb: Option<u8>,
    /// A byte that may have its other half still to come, and when it came.
    waiting: Option<(Half, u8, u64)>,
    /// The device was seen to send the upper half first: a lower half then waits for nothing.
    msb_first: bool,
}

impl Pair {
    /// Takes in a byte that came at `at`, in microseconds; gives the value, 0…16383, if there is one now.
    pub fn hear(&mut self, half: Half, byte: u8, at: u64) -> Option<u16> {
        // At most one of what is due and what comes is a value: after one that waited in vain, the next
        // byte waits too.
        let due = self.settle(at);
        match (half, self.waiting) {
            (Half::Lsb, Some((Half::Msb, msb, _))) => {
                self.msb_first = true;
                self.set(Some(msb), byte)
            }
            (Half::Msb, Some((Half::Lsb, lsb, _))) => self.set(Some(byte), lsb),
            (Half::Lsb, None) if self.msb_first => self.set(self.msb, byte),
            (_, waiting) => {
                // The same half twice: there was no other to the first.
                let alone = waiting.and_then(|_| self.alone());
                self.waiting = Some((half, byte, at));
                due.or(alone)
            }
        }
    }

    /// The value of a byte that has waited long enough at `now`.
    pub fn settle(&mut self, now: u64) -> Option<u16> {
        self.due().filter(|due| *due <= now).and_then(|_| self.alone())
    }

    /// When to [`settle`](Self::settle), if a byte waits.
    pub fn due(&self) -> Option<u64> {
        self.waiting.map(|(_, _, since)| since.saturating_add(PAIR_WAIT))
    }

    /// What waits has no other half.
    fn alone(&mut self) -> Option<u16> {
        match self.waiting? {
            (Half::Msb, msb, _) => {
                // Or its lower half came before it, and the order is not what it seemed.
                self.msb_first = false;
                self.set(Some(msb), 0)
            }
            (Half::Lsb, lsb, _) => self.set(self.msb, lsb),
        }
    }

    /// Nothing waits any more. There is no value as long as the upper half is not known.
    fn set(&mut self, msb: Option<u8>, lsb: u8) -> Option<u16> {
        self.waiting = None;
        self.msb = msb;
        msb.map(|msb| u16::from(msb & 0x7F) << 7 | u16::from(lsb & 0x7F))
    }
}
