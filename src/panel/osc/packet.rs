//! Packets: bytes to messages, values to bytes.

use super::super::PanelError;
use rosc::{OscMessage, OscPacket, OscType};

/// Bytes of a packet that are read; a longer one is refused.
pub const MOST_BYTES: usize = 16_384;
/// How deep bundles may lie in bundles.
pub const DEEPEST: usize = 8;
/// Messages that a packet may hold.
pub const MOST_MESSAGES: usize = 256;
/// Characters of an address or a pattern.
pub const LONGEST_ADDRESS: usize = 255;
/// Bytes of a packet that is sent: it passes an Ethernet in one piece.
pub const MOST_SENT: usize = 1_200;

/// Tags of one message: nothing here takes more than one argument.
const MOST_TAGS: usize = 64;
const BUNDLE: &[u8] = b"#bundle\0";

/// The first argument of a message.
#[derive(Clone, Debug, PartialEq)]
pub enum Argument {
    /// A finite number: `f` is taken as the shortest decimal number that is that float, `d`, `i` and `h` as they are.
    Number(f64),
    /// `T` or `F`.
    Switch(bool),
    /// `s`.
    Text(String),
}

/// One message.
#[derive(Clone, Debug, PartialEq)]
pub struct Message {
    /// Address or pattern, with the slash before it.
    pub address: String,
    /// Its first argument; `None` without one, or where it is `N` or `I`. Others are passed over.
    pub argument: Option<Argument>,
}

/// The messages of a packet, in their order. Those of a bundle too: its time tag is passed over, everything is for now.
///
/// # Errors
/// [`PanelError::Packet`] when it is no OSC packet, or more than is read: see [`MOST_BYTES`], [`DEEPEST`],
/// [`MOST_MESSAGES`] and [`LONGEST_ADDRESS`]; when a first argument is an array, blob, time, colour, character or MIDI
/// message, or a number that is not finite. Nothing of such a packet is carried out.
pub fn decode(bytes: &[u8]) -> Result<Vec<Message>, PanelError> {
    let mut messages = Vec::new();
    if bytes.len() > MOST_BYTES {
        return Err(bad(format!("it has {} bytes; {MOST_BYTES} are read", bytes.len())));
    }
    walk(bytes, 0, &mut messages)?;
    Ok(messages)
}

fn bad(why: impl Into<String>) -> PanelError {
    PanelError::Packet { why: why.into() }
}

fn walk(bytes: &[u8], depth: usize, messages: &mut Vec<Message>) -> Result<(), PanelError> {
    if bytes.is_empty() || !bytes.len().is_multiple_of(4) {
        return Err(bad(format!("{} bytes are no multiple of four", bytes.len())));
    }
    if !bytes.starts_with(BUNDLE) {
        if messages.len() == MOST_MESSAGES {
            return Err(bad(format!("it holds more than {MOST_MESSAGES} messages")));
        }
        messages.push(message(bytes)?);
        return Ok(());
    }
    if depth == DEEPEST {
        return Err(bad(format!("bundles lie more than {DEEPEST} deep")));
    }
    // The time tag has eight bytes.
    let mut rest =
        bytes.get(BUNDLE.len() + 8..).ok_or_else(|| bad("a bundle ends before its time tag does"))?;
    while let Some((size, after)) = rest.split_first_chunk::<4>() {
        let size = u32::from_be_bytes(*size) as usize;
        let element = after.get(..size).ok_or_else(|| bad("a bundle's element is longer than the bundle"))?;
        walk(element, depth + 1, messages)?;
        rest = &after[size..];
    }
    Ok(())
}

fn message(bytes: &[u8]) -> Result<Message, PanelError> {
    let (address, rest) = text(bytes)?;
    if !address.starts_with('/') || address.len() > LONGEST_ADDRESS {
        return Err(bad("it begins neither with an address nor with #bundle"));
    }
    // What is old sends no type tags where it has no arguments.
    if rest.is_empty() {
        return Ok(Message { address: address.to_owned(), argument: None });
    }
    let (tags, _) = text(rest)?;
    // Arrays are refused before they are read: they may lie in each other without end.
    if !tags.starts_with(',') || tags.len() > MOST_TAGS || tags.contains(['[', ']']) {
        return Err(bad(format!("{address}: its type tags are not understood")));
    }
    let refuse = |why: &str| bad(format!("{address}: {why}"));
    let (left, packet) = rosc::decoder::decode_udp(bytes).map_err(|e| refuse(&e.to_string()))?;
    let OscPacket::Message(OscMessage { args, .. }) = packet else {
        return Err(refuse("it is no message"));
    };
    if !left.is_empty() {
        return Err(refuse("bytes are left over"));
    }
    let number = |n: f64| match n.is_finite() {
        true => Ok(Some(Argument::Number(n))),
        false => Err(refuse("its number is not finite")),
    };
    let argument = match args.into_iter().next() {
        None | Some(OscType::Nil | OscType::Inf) => Ok(None),
        Some(OscType::Float(f)) => number(decimal(f)),
        Some(OscType::Double(d)) => number(d),
        Some(OscType::Int(i)) => number(i.into()),
        Some(OscType::Long(i)) => number(i as f64),
        Some(OscType::Bool(on)) => Ok(Some(Argument::Switch(on))),
        Some(OscType::String(text)) => Ok(Some(Argument::Text(text))),
        Some(_) => Err(refuse("its argument is no number, switch or text")),
    };
    Ok(Message { address: address.to_owned(), argument: argument? })
}

/// A string at the start of `bytes`, and what follows its padding.
fn text(bytes: &[u8]) -> Result<(&str, &[u8]), PanelError> {
    let end = bytes.iter().position(|b| *b == 0).ok_or_else(|| bad("a string has no end"))?;
    let text = &bytes[..end];
    let rest = bytes.get((end / 4 + 1) * 4..).ok_or_else(|| bad("a string is cut off"))?;
    // OSC 1.0: ASCII. Addresses are of what can be printed.
    match std::str::from_utf8(text) {
        Ok(text) if text.bytes().all(|b| (0x20..0x7F).contains(&b)) => Ok((text, rest)),
        _ => Err(bad("an address or its tags have characters that cannot be printed")),
    }
}

/// The shortest decimal number that is this float, so that 0.1 from a surface is 0.1 in the show.
fn decimal(f: f32) -> f64 {
    f.to_string().parse().unwrap_or(f.into())
}

/// A value that is sent.
#[derive(Clone, Debug, PartialEq)]
pub enum Sent {
    /// `f`.
    Float(f32),
    /// `i`.
    Int(i32),
    /// `T` or `F`.
    Switch(bool),
    /// `s`.
    Text(String),
}

/// Packets with these messages in their order: one is sent as it is, several in bundles for at once of up to
/// [`MOST_SENT`] bytes.
pub fn encode<A: AsRef<str>>(messages: &[(A, Sent)]) -> Vec<Vec<u8>> {
    let mut packets: Vec<Vec<Vec<u8>>> = Vec::new();
    let mut size = 0;
    for (address, sent) in messages {
        let args = vec![match sent.clone() {
            Sent::Float(f) => OscType::Float(f),
            Sent::Int(i) => OscType::Int(i),
            Sent::Switch(on) => OscType::Bool(on),
            Sent::Text(text) => OscType::String(text),
        }];
        let message = OscPacket::Message(OscMessage { addr: address.as_ref().to_owned(), args });
        // Writing to memory does not fail.
        let Ok(bytes) = rosc::encoder::encode(&message) else { continue };
        if packets.is_empty() || size + 4 + bytes.len() > MOST_SENT {
            packets.push(Vec::new());
            size = BUNDLE.len() + 8;
        }
        size += 4 + bytes.len();
        packets.last_mut().expect("one was pushed").push(bytes);
    }
    packets
        .into_iter()
        .map(|mut elements| {
            if elements.len() == 1 {
                return elements.remove(0);
            }
            // The time tag of 1 means at once.
            let mut bytes = [BUNDLE, &1u64.to_be_bytes()].concat();
            for element in elements {
                bytes.extend((element.len() as u32).to_be_bytes());
                bytes.extend(element);
            }
            bytes
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_examples_of_the_specification() {
        // OSC 1.0, "OSC Message Examples": /oscillator/4/frequency with 440.0, byte by byte.
        let bytes: Vec<u8> = ["2f6f7363696c6c61746f722f342f6672657175656e6379002c660000", "43dc0000"]
            .concat()
            .as_bytes()
            .chunks(2)
            .map(|hex| u8::from_str_radix(std::str::from_utf8(hex).unwrap(), 16).unwrap())
            .collect();
        let message = Message {
            address: "/oscillator/4/frequency".to_owned(),
            argument: Some(Argument::Number(440.0)),
        };
        assert_eq!(decode(&bytes).unwrap(), [message]);
        assert_eq!(encode(&[("/oscillator/4/frequency", Sent::Float(440.0))]), [bytes.clone()]);
        // Cut anywhere, it is none.
        for end in 0..bytes.len() {
            assert!(decode(&bytes[..end]).is_err() || end == 24, "cut at {end}");
        }
    }

    #[test]
    fn depth_size_and_number_are_bounded() {
        let message = encode(&[("/x", Sent::Int(1))]).remove(0);
        let bundle = |elements: &[Vec<u8>]| {
            let mut bytes = [BUNDLE, &[0xFF; 8]].concat();
            for e in elements {
                bytes.extend((e.len() as u32).to_be_bytes());
                bytes.extend(e);
            }
            bytes
        };
        let nested = |depth: usize| (0..depth).fold(message.clone(), |inner, _| bundle(&[inner]));
        assert_eq!(decode(&nested(DEEPEST)).unwrap().len(), 1);
        assert!(decode(&nested(DEEPEST + 1)).is_err());
        assert!(decode(&nested(500)).is_err());
        assert_eq!(decode(&bundle(&vec![message.clone(); MOST_MESSAGES])).unwrap().len(), MOST_MESSAGES);
        assert!(decode(&bundle(&vec![message.clone(); MOST_MESSAGES + 1])).is_err());
        assert!(decode(&vec![b'/'; MOST_BYTES + 4]).is_err());
        assert_eq!(decode(&bundle(&[])).unwrap(), []);
        let arrays = [b"/x\0\0,".to_vec(), vec![b'['; 10_999]].concat();
        assert!(decode(&arrays).is_err());
    }

    #[test]
    fn a_float_is_the_number_that_was_meant() {
        for (f, d) in [(0.1f32, 0.1), (-2.35, -2.35), (1e-7, 1e-7), (0.0, 0.0), (1.0 / 3.0, 0.33333334)] {
            assert_eq!(decimal(f), d);
            assert_eq!(decimal(f) as f32, f);
        }
        for f in [f32::NAN, f32::INFINITY] {
            assert!(decode(&encode(&[("/x", Sent::Float(f))])[0]).is_err());
        }
    }

    #[test]
    fn many_messages_are_split_into_packets() {
        let all: Vec<_> = (0..200).map(|i| (format!("/look/{i}/strength"), Sent::Float(i as f32))).collect();
        let packets = encode(&all);
        assert!(packets.len() > 4 && packets.iter().all(|p| p.len() <= MOST_SENT));
        let back: Vec<Message> = packets.iter().flat_map(|p| decode(p).unwrap()).collect();
        assert_eq!(back.len(), 200);
        for ((address, _), (i, message)) in all.iter().zip(back.iter().enumerate()) {
            assert_eq!(
                *message,
                Message { address: address.clone(), argument: Some(Argument::Number(i as f64)) }
            );
        }
    }
    #[test]
    fn nothing_that_is_read_does_harm() {
        let all: Vec<_> = (0..6).map(|i| (format!("/look/{i}/strength"), Sent::Float(0.1))).collect();
        let text = ("/output/client/display", Sent::Text("rec709".into()));
        let good = [
            encode(&all).remove(0),
            encode(&[text]).remove(0),
            encode(&[("/do/play", Sent::Switch(true))]).remove(0),
        ];
        let (mut state, mut read) = (1u64, 0);
        // Knuth's MMIX generator.
        let mut random = |below: usize| {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            (state >> 33) as usize % below
        };
        for i in 0..60_000 {
            let mut bytes = good[i % good.len()].clone();
            for _ in 0..=random(4) {
                let at = random(bytes.len());
                match random(4) {
                    0 => bytes[at] = random(256) as u8,
                    1 => bytes[at] ^= 1 << random(8),
                    2 => bytes.truncate(at.max(1)),
                    _ => bytes.insert(at, b"/,[]#sbhfT\0"[random(11)]),
                }
            }
            for message in decode(&bytes).unwrap_or_default() {
                assert!(message.address.starts_with('/') && message.address.len() <= LONGEST_ADDRESS);
                assert!(!matches!(message.argument, Some(Argument::Number(n)) if !n.is_finite()));
                read += 1;
            }
        }
        assert!(read > 5_000, "{read}");
    }
}
