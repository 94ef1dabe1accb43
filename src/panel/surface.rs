//! Control events to moves of parameters: a map with the state of its controls, buttons, banks and layers.

use super::{
    Binding, Button, Coding, Event, FINE_MOST, Map, Mode, Resets, Source, Takeover, Target, Task,
    bank::Banks,
    feel::DOUBLE_PRESS,
    hand::{Hand, Meanwhile, Position},
    map::{Said, Word},
    message::Control,
    registered::{Selection, is_registered},
};
use std::{collections::BTreeMap, sync::Arc};

/// What a control asks of a parameter, or a button of the program.
#[derive(Clone, Debug, PartialEq)]
pub enum Move {
    /// Move by so many of the parameter's own steps.
    Turn {
        /// The parameter's address.
        target: Arc<str>,
        /// Steps of the parameter, down is negative; the map's scale and the target's share are in it, so
        /// it may be fractional.
        detents: f64,
        /// Which control of the map it comes from, for undo; the axes of a ball have one number.
        hand: usize,
    },
    /// Move by so much.
    Add {
        /// The parameter's address.
        target: Arc<str>,
        /// In the parameter's own unit.
        amount: f64,
        /// Which control of the map it comes from.
        hand: usize,
    },
    /// Go to a place in the parameter's range.
    Set {
        /// The parameter's address.
        target: Arc<str>,
        /// 0…1 of the range.
        position: f64,
        /// Which control of the map it comes from.
        hand: usize,
    },
    /// Go to the default.
    Reset {
        /// The parameter's address.
        target: Arc<str>,
    },
    /// A hand took hold of a control that tells so, or let it go: what it moves between is one gesture.
    Hold {
        /// Which control of the map.
        hand: usize,
        /// Taken hold of, not let go.
        down: bool,
    },
    /// Do something.
    Press {
        /// The name of what to do.
        action: Arc<str>,
        /// Did the button go down? A button that sends high and low by turns only ever goes down.
        down: bool,
    },
}

/// What a control is and does at this moment, for the panel mirror.
#[derive(Clone, Debug, PartialEq)]
pub struct ControlState {
    /// Its name on the panel mirror.
    pub label: Arc<str>,
    /// Which of the map's controls it is, from 0.
    pub index: usize,
    /// The bank that it is in; `None` if it is in force in all.
    pub bank: Option<Arc<str>>,
    /// The layer that it is in.
    pub layer: Option<Arc<str>>,
    /// The parameters it moves; while gangs are moved, its gang after them.
    pub targets: Arc<[Target]>,
    /// What its data byte means.
    pub coding: Coding,
    /// How it takes over; only absolute controls look at it.
    pub takeover: Takeover,
    /// Would a turn act on every target at once? False for an absolute control that has yet to be brought
    /// to where a parameter stands.
    pub picked_up: bool,
    /// Is a hand on it, as far as it tells? Nothing should move it meanwhile.
    pub touched: bool,
    /// The last value it sent, 0…127, of a fine control 0…16383; `None` if it has not been touched since
    /// the map was set.
    pub last: Option<u16>,
    /// Where that is in its travel, 0…1; `None` for what turns without end.
    pub stands: Option<f64>,
    /// Which hand it is under: the two axes of a ball have one.
    pub hand: usize,
}

/// What a button is and does at this moment, for the panel mirror.
#[derive(Clone, Debug, PartialEq)]
pub struct ButtonState {
    /// Its name on the panel mirror.
    pub label: Arc<str>,
    /// Which of the map's buttons it is, from 0.
    pub index: usize,
    /// How it tells that it was pressed.
    pub mode: Mode,
    /// What it does, as a map says it.
    pub action: Arc<str>,
    /// Is it down, or what it does so now: fine mode latched, its bank or page in force? A button that only tells of
    /// presses is down from one to the next.
    pub down: bool,
}

/// What is in force on a panel.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    /// The page, in a map that has any.
    pub page: Option<Arc<str>>,
    /// The bank, in a map that has any.
    pub bank: Option<Arc<str>>,
    /// The layers that are held, the latest last.
    pub layers: Vec<Arc<str>>,
    /// Is fine mode on?
    pub fine: bool,
    /// Are gangs moved?
    pub gang: bool,
}

/// One panel at work. One surface serves one port, because takeover remembers where that panel's own
/// controls stand.
#[derive(Clone, Debug)]
pub struct Surface {
    map: Arc<Map>,
    /// What is remembered of each control.
    hands: Vec<Hand>,
    /// For each button: was an action begun that is not ended?
    down: Vec<bool>,
    banks: Banks,
    /// Chosen registered parameters, if the map has any.
    selection: Option<Box<Selection>>,
    /// Is fine mode latched?
    latched: bool,
    /// The button that was pressed last, and when, if nothing came since.
    pressed: Option<(usize, u64)>,
    /// Notes that say a hand is on a control, by channel and note, with the hands that this holds.
    touched: BTreeMap<(u8, u8), Vec<usize>>,
}

impl Surface {
    /// A panel of which nothing has been heard yet.
    pub fn new(map: Arc<Map>) -> Self {
        Self {
            hands: map.controls.iter().map(Hand::new).collect(),
            down: vec![false; map.buttons.len()],
            banks: Banks::new(&map),
            selection: map.has_registered().then(Box::default),
            latched: false,
            pressed: None,
            touched: BTreeMap::new(),
            map,
        }
    }

    /// The map it works by.
    pub fn map(&self) -> &Arc<Map> {
        &self.map
    }

    /// What `event`, which came at `at`, asks for; nothing if the map does not know the control, it did not
    /// move, takeover holds it back, or it asks for something later: see
    /// [`settle`](Self::settle). `at` is in microseconds as [`RawMessage::at`](super::RawMessage::at).
    /// `position` says where a parameter stands in its range, 0…1, and `None` for one that is not there now:
    /// such a target is passed over.
    ///
    /// Carry the moves out, and say so by [`arrived`](Self::arrived), before feeding the next event: takeover compares
    /// where it set a parameter with where the parameter is, and takes a difference for somebody else's doing.
    pub fn feed(&mut self, at: u64, event: &Event, position: &dyn Fn(&str) -> Option<f64>) -> Vec<Move> {
        let channel = event.control.channel();
        // Seven bits of all but the bender.
        let byte = (event.value & 0x7F) as u8;
        let word = match event.control {
            Control::Cc { number, .. } => match &mut self.selection {
                Some(selection) if is_registered(number) => match selection.hear(channel, number, byte) {
                    Some((parameter, datum)) => Word::Registered(parameter, datum),
                    None => return Vec::new(),
                },
                _ => Word::Cc(number, byte),
            },
            Control::Note { number, .. } => Word::Note(number, byte),
            Control::Bend { .. } => Word::Bend(event.value),
            Control::Pressure { .. } => Word::Pressure(byte),
            Control::KeyPressure { number, .. } => Word::KeyPressure(number, byte),
            Control::Program { .. } => {
                return self.change_bank(|banks, map| banks.number(map, byte.into()));
            }
        };
        if let Word::Note(note, velocity) = word {
            if self
                .map
                .controls
                .iter()
                .any(|c| c.touch == Some(note) && c.channel.is_none_or(|c| c == channel))
            {
                return self.touch((channel, note), velocity > 0);
            }
        }
        let heard = |(i, c): (usize, &Binding)| Some((i, c.hears(channel, word)?));
        let all: Vec<_> = self.map.controls.iter().enumerate().filter_map(heard).collect();
        let ranked = all.iter().filter_map(|&(index, _)| {
            let binding = &self.map.controls[index];
            Some((self.banks.rank(binding.bank, binding.layer)?, index))
        });
        let Some((_, acts)) = ranked.min() else {
            self.overheard(&all, channel, at);
            return self.press(at, channel, word);
        };
        self.pressed = None;
        let now = Meanwhile { at, fine: self.is_fine(), gang: self.is_gang(), position };
        let (mine, others): (Vec<_>, Vec<_>) = all.into_iter().partition(|(index, _)| *index == acts);
        self.overheard(&others, channel, at);
        let said = mine.into_iter().map(|(_, said)| said);
        said.flat_map(|said| self.hands[acts].hear(&self.map.controls[acts], channel, said, now)).collect()
    }

    /// What controls of other banks and layers make of a message that moved none of them.
    fn overheard(&mut self, others: &[(usize, Said)], channel: u8, at: u64) {
        for &(index, said) in others {
            self.hands[index].overhear(&self.map.controls[index], channel, said, at);
        }
    }

    /// What is due at `now`, on the clock of [`feed`](Self::feed)'s `at`: what halves of pairs ask for whose other
    /// halves have not come in time, and the steps of smoothed moves. To be called when it is [`due`](Self::due).
    pub fn settle(&mut self, now: u64, position: &dyn Fn(&str) -> Option<f64>) -> Vec<Move> {
        let now = Meanwhile { at: now, fine: self.is_fine(), gang: self.is_gang(), position };
        let Self { map, hands, banks, .. } = self;
        let settle = |(binding, hand): (&Binding, &mut Hand)| {
            hand.settle(binding, banks.rank(binding.bank, binding.layer).is_some(), now)
        };
        map.controls.iter().zip(hands).flat_map(settle).collect()
    }

    /// When to [`settle`](Self::settle), on the same clock; `None` if nothing waits.
    pub fn due(&self) -> Option<u64> {
        self.hands.iter().filter_map(Hand::due).min()
    }

    /// The moves were carried out; `position` says where parameters stand since. One that only takes some values may
    /// stand beside where it was set, and is held all the same.
    pub fn arrived(&mut self, position: &dyn Fn(&str) -> Option<f64>) {
        for (binding, hand) in self.map.controls.iter().zip(&mut self.hands) {
            hand.arrived(binding, position);
        }
    }

    /// What a button asks for, if the message is one's.
    fn press(&mut self, at: u64, channel: u8, word: Word) -> Vec<Move> {
        let map = self.map.clone();
        let heard: Vec<(usize, u8)> =
            map.buttons.iter().enumerate().filter_map(|(i, b)| Some((i, b.hears(channel, word)?))).collect();
        // What went down comes up again, whatever was changed to meanwhile.
        let comes_up = heard.iter().find(|(index, value)| {
            let button = &map.buttons[*index];
            button.mode == Mode::Momentary && self.down[*index] && !button.is_down(*value)
        });
        let ranked = heard.iter().filter_map(|heard| {
            let button = &map.buttons[heard.0];
            Some((self.banks.rank(button.bank, button.layer)?, heard))
        });
        let in_force = ranked.min_by_key(|(rank, _)| *rank).map(|(_, heard)| heard);
        let Some(&(index, value)) = comes_up.or(in_force) else { return Vec::new() };
        let button = &map.buttons[index];
        let pressed = match button.mode {
            Mode::Momentary => button.is_down(value),
            Mode::Toggle => true,
        };
        let was = self.down[index];
        self.down[index] = match button.mode {
            Mode::Momentary => pressed,
            Mode::Toggle => !was,
        };
        // A pedal says more than once that it is down; what it does to the panel it does once.
        let fresh = pressed && (button.mode == Mode::Toggle || !was);
        let mut moves = match &button.task {
            Task::Action(action) => vec![Move::Press { action: action.clone(), down: pressed }],
            Task::Layer(layer) => {
                self.banks.hold(*layer, self.down[index]);
                self.hold_again()
            }
            Task::FineLatch if fresh => {
                self.latched = !self.latched;
                Vec::new()
            }
            Task::BankStep(by) if fresh => self.change_bank(|banks, map| banks.step(map, isize::from(*by))),
            Task::Bank(bank) if fresh => self.change_bank(|banks, map| banks.choose(map, *bank)),
            Task::Page(page) if fresh => self.change_bank(|banks, map| banks.turn_to(map, *page)),
            _ => Vec::new(),
        };
        if fresh {
            let again = self
                .pressed
                .take()
                .is_some_and(|(last, then)| last == index && at.saturating_sub(then) <= DOUBLE_PRESS);
            match &button.resets {
                Some(resets) if again => moves.extend(self.resets(resets)),
                _ => self.pressed = Some((index, at)),
            }
        }
        moves
    }

    /// What a double press asks for.
    fn resets(&self, resets: &Resets) -> Vec<Move> {
        let mut addresses: Vec<&Arc<str>> = Vec::new();
        match resets {
            Resets::Address(address) => addresses.push(address),
            Resets::Controls(controls) => {
                let in_force = controls.iter().map(|index| &self.map.controls[*index]);
                for binding in in_force.filter(|c| self.banks.rank(c.bank, c.layer).is_some()) {
                    for target in &*binding.targets {
                        if !addresses.contains(&&target.address) {
                            addresses.push(&target.address);
                        }
                    }
                }
            }
        }
        addresses.into_iter().map(|target| Move::Reset { target: target.clone() }).collect()
    }

    /// Another bank or page. Absolute controls of banks have to pick up again.
    fn change_bank(&mut self, change: impl FnOnce(&mut Banks, &Map)) -> Vec<Move> {
        let before = (self.banks.page(), self.banks.bank());
        change(&mut self.banks, &self.map);
        if (self.banks.page(), self.banks.bank()) == before {
            return Vec::new();
        }
        let in_banks =
            self.map.controls.iter().zip(&mut self.hands).filter(|(binding, _)| binding.bank.is_some());
        in_banks.for_each(|(_, hand)| hand.reset());
        self.hold_again()
    }

    /// A touch note was heard.
    fn touch(&mut self, note: (u8, u8), down: bool) -> Vec<Move> {
        match down {
            true => _ = self.touched.entry(note).or_default(),
            false => {
                let held = self.touched.remove(&note).unwrap_or_default();
                let still: Vec<usize> = self.touched.values().flatten().copied().collect();
                let ended = held.into_iter().filter(|hand| !still.contains(hand));
                return ended.map(|hand| Move::Hold { hand, down: false }).collect();
            }
        }
        self.hold_again()
    }

    /// Which hands the touch notes hold now: what is in force may have changed under them.
    fn hold_again(&mut self) -> Vec<Move> {
        let mut moves = Vec::new();
        let Self { map, banks, touched, .. } = self;
        let in_force = in_force(map, banks);
        for (&(channel, note), held) in touched {
            let mut hands = Vec::new();
            for (binding, _) in map.controls.iter().zip(&in_force).filter(|(_, in_force)| **in_force) {
                let mine = binding.touch == Some(note) && binding.channel.is_none_or(|c| c == channel);
                if mine && !hands.contains(&binding.hand) {
                    hands.push(binding.hand);
                }
            }
            let ended = held.iter().filter(|hand| !hands.contains(hand));
            moves.extend(ended.map(|hand| Move::Hold { hand: *hand, down: false }));
            let begun = hands.iter().filter(|hand| !held.contains(hand));
            moves.extend(begun.map(|hand| Move::Hold { hand: *hand, down: true }));
            *held = hands;
        }
        moves
    }

    fn is_fine(&self) -> bool {
        self.latched || self.holds(|task| *task == Task::Fine)
    }

    fn is_gang(&self) -> bool {
        self.holds(|task| *task == Task::Gang)
    }

    fn holds(&self, is: impl Fn(&Task) -> bool) -> bool {
        self.map.buttons.iter().zip(&self.down).any(|(button, down)| *down && is(&button.task))
    }

    /// Lets go of every button that is down and every control that a hand is on: when the panel goes away.
    pub fn release(&mut self) -> Vec<Move> {
        let mut moves = Vec::new();
        for (button, down) in self.map.buttons.iter().zip(&mut self.down) {
            if let (true, Task::Action(action)) = (std::mem::take(down), &button.task) {
                moves.push(Move::Press { action: action.clone(), down: false });
            }
        }
        self.banks.let_go();
        let held = std::mem::take(&mut self.touched).into_values().flatten();
        moves.extend(held.map(|hand| Move::Hold { hand, down: false }));
        moves
    }

    /// Lets go of every parameter that was moved by something else or is gone, so that
    /// [`describe`](Self::describe) does not claim it until the control's next event. `position` is as for
    /// [`feed`](Self::feed).
    pub fn refresh(&mut self, position: Position<'_>) {
        for (binding, hand) in self.map.controls.iter().zip(&mut self.hands) {
            hand.refresh(binding, position);
        }
    }

    /// Lets go of every parameter, so that absolute controls have to pick up again: when the shot or the look changes,
    /// or the panel was away. Smoothed moves end where they are.
    pub fn reset(&mut self) {
        self.hands.iter_mut().for_each(Hand::reset);
    }

    /// Works by another map from now on, and forgets all that was heard; if it has the same banks and pages, those in
    /// force stay so.
    pub fn set_map(&mut self, map: Arc<Map>) {
        let same =
            (&map.banks, &map.pages, &map.layers) == (&self.map.banks, &self.map.pages, &self.map.layers);
        let mut banks = self.banks.clone();
        banks.let_go();
        *self = Self::new(map);
        if same {
            self.banks = banks;
        }
    }

    /// Every control that is in force, in the map's order.
    pub fn describe(&self) -> Vec<ControlState> {
        let gang = self.is_gang();
        let touched: Vec<usize> = self.touched.values().flatten().copied().collect();
        let in_force = in_force(&self.map, &self.banks);
        let all = self.map.controls.iter().zip(&self.hands).enumerate();
        let state = |(index, (binding, hand)): (usize, (&Binding, &Hand))| ControlState {
            label: binding.label.clone(),
            index,
            bank: binding.bank.map(|bank| self.map.banks[bank].name.clone()),
            layer: binding.layer.map(|layer| self.map.layers[layer].clone()),
            targets: match gang && !binding.gang.is_empty() {
                true => binding.targets.iter().chain(&*binding.gang).cloned().collect(),
                false => binding.targets.clone(),
            },
            coding: binding.coding,
            takeover: binding.takeover,
            picked_up: hand.picked_up(binding),
            touched: touched.contains(&binding.hand),
            last: hand.last,
            stands: hand
                .last
                .filter(|_| !binding.coding.is_relative())
                .map(|last| f64::from(last) / if binding.fine { f64::from(FINE_MOST) } else { 127.0 }),
            hand: binding.hand,
        };
        all.zip(in_force).filter(|(_, in_force)| *in_force).map(|(one, _)| state(one)).collect()
    }

    /// Every button that is in force, in the map's order.
    pub fn buttons(&self) -> Vec<ButtonState> {
        let map = &self.map;
        let covers =
            |over: &Button, under: &Button| over.source == under.source && meet(over.channel, under.channel);
        let rank = |b: &Button| self.banks.rank(b.bank, b.layer);
        let in_force = |button: &Button| {
            let mine = rank(button);
            mine.is_some_and(|mine| {
                !map.buttons.iter().any(|b| rank(b).is_some_and(|r| r < mine) && covers(b, button))
            })
        };
        let state = |(index, (button, down)): (usize, (&Button, &bool))| ButtonState {
            label: button.label.clone(),
            index,
            mode: button.mode,
            action: button.action.clone(),
            down: match button.task {
                Task::FineLatch => self.latched,
                Task::Bank(bank) => self.banks.bank() == Some(bank),
                Task::Page(page) => self.banks.page() == page,
                _ => *down,
            },
        };
        let all = map.buttons.iter().zip(&self.down).enumerate();
        all.filter(|(_, (button, _))| in_force(button)).map(state).collect()
    }

    /// For each control and each button of the map, whether it is in force.
    pub fn in_force(&self) -> (Vec<bool>, Vec<bool>) {
        let mut buttons = vec![false; self.map.buttons.len()];
        self.buttons().iter().for_each(|button| buttons[button.index] = true);
        (in_force(&self.map, &self.banks), buttons)
    }

    /// The names of the banks of the page in force, in their order.
    pub fn banks(&self) -> Vec<Arc<str>> {
        self.banks.row(&self.map).iter().map(|bank| self.map.banks[*bank].name.clone()).collect()
    }

    /// Takes the page, the bank and whether fine mode is latched over from another panel of the same map, of which nothing
    /// is held.
    pub fn follow(&mut self, other: &Self) {
        if !Arc::ptr_eq(&self.map, &other.map) {
            return;
        }
        let before = (self.banks.page(), self.banks.bank());
        self.banks = other.banks.clone();
        self.banks.let_go();
        self.latched = other.latched;
        if (self.banks.page(), self.banks.bank()) != before {
            self.reset();
        }
    }

    /// What is in force.
    pub fn standing(&self) -> Standing {
        let map = &self.map;
        Standing {
            page: map.pages.get(self.banks.page()).map(|page| page.name.clone()),
            bank: self.banks.bank().map(|bank| map.banks[bank].name.clone()),
            layers: self.banks.layers().iter().map(|layer| map.layers[*layer].clone()).collect(),
            fine: self.is_fine(),
            gang: self.is_gang(),
        }
    }
}

/// Which controls are in force: those of the bank, and of several with one message that of the uppermost layer.
fn in_force(map: &Map, banks: &Banks) -> Vec<bool> {
    let sources: Vec<Vec<Source>> = map.controls.iter().map(Binding::sources).collect();
    let ranks: Vec<Option<usize>> = map.controls.iter().map(|c| banks.rank(c.bank, c.layer)).collect();
    let covered = |under: usize, rank: usize| {
        (0..map.controls.len()).any(|over| {
            ranks[over].is_some_and(|r| r < rank)
                && meet(map.controls[over].channel, map.controls[under].channel)
                && sources[over].iter().any(|s| sources[under].contains(s))
        })
    };
    ranks.iter().enumerate().map(|(i, rank)| rank.is_some_and(|rank| !covered(i, rank))).collect()
}

fn meet(one: Option<u8>, other: Option<u8>) -> bool {
    one.is_none() || other.is_none() || one == other
}
