//! The system's own MIDI ports.

#[cfg(feature = "midi")]
use super::Output;
use super::{Input, PanelError, PortInfo, Ports, Waker};

/// The ports of the system's MIDI service. Built without the feature `midi` it has the same face and says
/// [`PanelError::Unavailable`].
///
/// With the feature `jack`, a server that dies is not noticed: its clients go on listing the ports that
/// were, and libjack frees them under our hands when a new client is opened to look. End the program with
/// the server.
#[derive(Default)]
pub struct SystemPorts {
    // Kept between lists: a new client for every list would be noise to every other MIDI program.
    #[cfg(feature = "midi")]
    lister: Option<midir::MidiInput>,
    #[cfg(feature = "midi")]
    output_lister: Option<midir::MidiOutput>,
}

impl SystemPorts {
    /// Nothing is asked of the system before the first list.
    pub fn new() -> Self {
        Self::default()
    }
}

#[cfg(not(feature = "midi"))]
impl SystemPorts {
    fn absent() -> PanelError {
        PanelError::Unavailable { why: "this program was built without it (cargo feature `midi`)".to_owned() }
    }
}

#[cfg(not(feature = "midi"))]
impl Ports for SystemPorts {
    fn list(&mut self) -> Result<Vec<PortInfo>, PanelError> {
        Err(Self::absent())
    }

    fn open(&mut self, _port: &PortInfo, _waker: Waker) -> Result<Input, PanelError> {
        Err(Self::absent())
    }
}

/// What other programs see us as.
#[cfg(feature = "midi")]
const CLIENT: &str = "greyhold";

#[cfg(feature = "midi")]
fn unavailable() -> PanelError {
    let why = if cfg!(feature = "jack") {
        "no JACK server answers (this program was built for JACK, cargo feature `jack`)"
    } else if cfg!(target_os = "linux") {
        "the ALSA sequencer does not answer (is there a /dev/snd/seq, and may this user open it?)"
    } else {
        "the system's MIDI service does not answer"
    };
    PanelError::Unavailable { why: why.to_owned() }
}

#[cfg(feature = "midi")]
fn client() -> Result<midir::MidiInput, PanelError> {
    let mut input = midir::MidiInput::new(CLIENT).map_err(|_| unavailable())?;
    input.ignore(midir::Ignore::All);
    Ok(input)
}

#[cfg(feature = "midi")]
fn output_client() -> Result<midir::MidiOutput, PanelError> {
    midir::MidiOutput::new(CLIENT).map_err(|_| unavailable())
}

/// The ports that `lister` sees, but for our own: what we send must not be what we hear.
#[cfg(feature = "midi")]
fn others<P: midir::MidiIO>(lister: &P, id: impl Fn(&P::Port) -> String) -> Vec<PortInfo> {
    let info = |port: &P::Port| {
        let id = id(port);
        // A port can go between being listed and being asked for its name.
        let name = lister.port_name(port).ok()?;
        // ALSA's port names end in their address, which changes with every plug.
        let name = name.strip_suffix(&format!(" {id}")).map(str::to_owned).unwrap_or(name);
        (!name.starts_with(CLIENT)).then_some(PortInfo { id, name })
    };
    lister.ports().iter().filter_map(info).collect()
}

#[cfg(feature = "midi")]
struct Sending(midir::MidiOutputConnection, String);

#[cfg(feature = "midi")]
impl Output for Sending {
    fn send(&mut self, message: &[u8]) -> Result<(), PanelError> {
        self.0.send(message).map_err(|e| PanelError::Open { port: self.1.clone(), why: e.to_string() })
    }
}

#[cfg(feature = "midi")]
impl Ports for SystemPorts {
    fn list(&mut self) -> Result<Vec<PortInfo>, PanelError> {
        let lister = match self.lister.take() {
            Some(lister) => lister,
            None => client()?,
        };
        let list = others(&lister, midir::MidiInputPort::id);
        self.lister = Some(lister);
        Ok(list)
    }

    fn outputs(&mut self) -> Result<Vec<PortInfo>, PanelError> {
        let lister = match self.output_lister.take() {
            Some(lister) => lister,
            None => output_client()?,
        };
        let list = others(&lister, midir::MidiOutputPort::id);
        self.output_lister = Some(lister);
        Ok(list)
    }

    fn open_output(&mut self, port: &PortInfo) -> Result<Box<dyn Output>, PanelError> {
        let output = output_client()?;
        let refused = |why: String| PanelError::Open { port: port.name.clone(), why };
        let found = output.find_port_by_id(&port.id).ok_or_else(|| refused("it is gone".to_owned()))?;
        let connection = output.connect(&found, "panel").map_err(|e| refused(e.to_string()))?;
        Ok(Box::new(Sending(connection, port.name.clone())))
    }

    fn open(&mut self, port: &PortInfo, waker: Waker) -> Result<Input, PanelError> {
        // A client of its own for every port: after a replug some systems only open through a new one.
        let input = client()?;
        let refused = |why: String| PanelError::Open { port: port.name.clone(), why };
        let found = input.find_port_by_id(&port.id).ok_or_else(|| refused("it is gone".to_owned()))?;
        let (mut sender, queue) = super::ports::queue(super::ports::QUEUE, waker);
        let connection = input
            .connect(&found, "panel", move |at, packet, ()| sender.push(at, packet), ())
            .map_err(|e| refused(e.to_string()))?;
        Ok(Input::new(Box::new(connection), queue))
    }
}
