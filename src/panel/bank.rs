//! Which of a map's controls are in force: pages, banks, layers.

use super::Map;
use std::sync::Arc;

/// Which page and bank of a map are in force, and which layers are held.
#[derive(Clone, Debug)]
pub struct Banks {
    page: usize,
    bank: Option<usize>,
    /// Of each page the bank that was in force when it was left.
    left: Vec<Option<usize>>,
    /// The latest last.
    layers: Vec<usize>,
}

impl Banks {
    /// The first page with its first bank, and no layer.
    pub fn new(map: &Map) -> Self {
        let mut banks = Self { page: 0, bank: None, left: vec![None; map.pages.len()], layers: Vec::new() };
        banks.bank = banks.row(map).first().copied();
        banks
    }

    /// The banks of the page in force: all of them in a map without pages.
    pub fn row(&self, map: &Map) -> Arc<[usize]> {
        map.pages.get(self.page).map_or_else(|| (0..map.banks.len()).collect(), |page| page.banks.clone())
    }

    /// The bank in force.
    pub const fn bank(&self) -> Option<usize> {
        self.bank
    }

    /// The page in force; 0 in a map without pages.
    pub const fn page(&self) -> usize {
        self.page
    }

    /// The layers that are held, the latest last.
    pub fn layers(&self) -> &[usize] {
        &self.layers
    }

    /// Goes so many banks on in the page, round and round.
    pub fn step(&mut self, map: &Map, by: isize) {
        let row = self.row(map);
        let at = row.iter().position(|bank| Some(*bank) == self.bank).unwrap_or(0);
        if !row.is_empty() {
            self.bank = Some(row[(at as isize + by).rem_euclid(row.len() as isize) as usize]);
        }
    }

    /// Goes to the page's bank number `at`, from 0; stays where it is if there is none.
    pub fn number(&mut self, map: &Map, at: usize) {
        self.bank = self.row(map).get(at).copied().or(self.bank);
    }

    /// Goes to a bank; if the page does not have it, to the first that has.
    pub fn choose(&mut self, map: &Map, bank: usize) {
        if !self.row(map).contains(&bank) {
            if let Some(page) = map.pages.iter().position(|page| page.banks.contains(&bank)) {
                self.turn_to(map, page);
            }
        }
        self.bank = Some(bank);
    }

    /// Goes to a page, and there to the bank that was in force last.
    pub fn turn_to(&mut self, map: &Map, page: usize) {
        if page == self.page || page >= map.pages.len() {
            return;
        }
        self.left[self.page] = self.bank;
        self.page = page;
        self.bank = self.left[page].or_else(|| self.row(map).first().copied());
    }

    /// A layer is held, or let go.
    pub fn hold(&mut self, layer: usize, down: bool) {
        self.layers.retain(|other| *other != layer);
        if down {
            self.layers.push(layer);
        }
    }

    /// Lets go of all layers.
    pub fn let_go(&mut self) {
        self.layers.clear();
    }

    /// Is what lies in this bank and layer active, and how far back does it stand? Of two with one message
    /// the lower number acts: layers over what is beneath them, the latest held first.
    pub fn rank(&self, bank: Option<usize>, layer: Option<usize>) -> Option<usize> {
        if bank.is_some() && bank != self.bank {
            return None;
        }
        match layer {
            None => Some(self.layers.len()),
            Some(layer) => self.layers.iter().rev().position(|held| *held == layer),
        }
    }
}
