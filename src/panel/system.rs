//! The system's own MIDI ports.

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
fn client() -> Result<midir::MidiInput, PanelError> {
    let mut input = midir::MidiInput::new(CLIENT).map_err(|_| {
        let why = if cfg!(feature = "jack") {
            "no JACK server answers (this program was built for JACK, cargo feature `jack`)"
        } else if cfg!(target_os = "linux") {
            "the ALSA sequencer does not answer (is there a /dev/snd/seq, and may this user open it?)"
        } else {
            "the system's MIDI service does not answer"
        };
        PanelError::Unavailable { why: why.to_owned() }
    })?;
    input.ignore(midir::Ignore::All);
    Ok(input)
}

#[cfg(feature = "midi")]
impl Ports for SystemPorts {
    fn list(&mut self) -> Result<Vec<PortInfo>, PanelError> {
        let lister = match self.lister.take() {
            Some(lister) => lister,
            None => client()?,
        };
        let info = |port: &midir::MidiInputPort| {
            let id = port.id();
            // A port can go between being listed and being asked for its name.
            let name = lister.port_name(port).ok()?;
            // ALSA's port names end in their address, which changes with every plug.
            let name = name.strip_suffix(&format!(" {id}")).map(str::to_owned).unwrap_or(name);
            Some(PortInfo { id, name })
        };
        let list: Vec<_> = lister.ports().iter().filter_map(info).collect();
        self.lister = Some(lister);
        Ok(list)
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
