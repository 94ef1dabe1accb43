//! Who may come in: access words for roles, sessions by cookie, and how often one may try.

use std::collections::HashMap;
use std::net::IpAddr;
use std::time::{Duration, Instant};

use sha2::{Digest, Sha256};
use subtle::ConstantTimeEq;

/// What somebody may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Role {
    /// Watch, write notes, approve.
    Viewer,
    /// Also what the operator's own tablet does.
    Operator,
}

impl Role {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::Viewer, Self::Operator];

    /// What pages call it.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Viewer => "viewer",
            Self::Operator => "operator",
        }
    }
}

/// Letters of a word: none that is read as another (Crockford's base 32). 12 of them are 60 bits.
const LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
const LENGTH: usize = 12;
/// Sessions at a time.
const MAX_SESSIONS: usize = 512;
/// Wrong words from one address, and from all together, within [`WINDOW`].
const MAX_WRONG: u32 = 10;
const MAX_WRONG_OF_ALL: u32 = 200;
const WINDOW: Duration = Duration::from_secs(300);
/// Addresses whose wrong words are counted.
const MAX_ADDRESSES: usize = 1024;

/// How somebody is let in. It has no `Debug`, so that no log has the word.
#[derive(Clone)]
pub struct Invitation {
    /// The word.
    pub word: String,
    /// When it stops to hold.
    pub expires: Instant,
}

struct Word {
    invitation: Invitation,
    digest: [u8; 32],
}

/// Somebody who is in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Session {
    pub role: Role,
    pub name: String,
    pub id: u32,
    expires: Instant,
}

/// Why somebody is not let in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Refusal {
    Wrong,
    TooOften,
    Full,
}

/// The doors of a server.
pub(super) struct Doors {
    words: HashMap<Role, Word>,
    lasts: Duration,
    sessions: HashMap<[u8; 32], Session>,
    wrong: HashMap<IpAddr, (u32, Instant)>,
    wrong_of_all: (u32, Option<Instant>),
    count: u32,
}

fn digest(text: &str) -> [u8; 32] {
    Sha256::digest(text.as_bytes()).into()
}

/// A word as people type it: without spaces and dashes, letters that look like others as those.
fn plain(word: &str) -> String {
    let letters = word.chars().filter(char::is_ascii_alphanumeric).take(64);
    letters
        .map(|c| match c.to_ascii_lowercase() {
            'o' => '0',
            'i' | 'l' => '1',
            c => c,
        })
        .collect()
}

fn random<const N: usize>() -> Result<[u8; N], getrandom::Error> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes)?;
    Ok(bytes)
}

impl Doors {
    pub fn new(lasts: Duration, now: Instant) -> Result<Self, getrandom::Error> {
        let mut doors = Self {
            words: HashMap::new(),
            lasts,
            sessions: HashMap::new(),
            wrong: HashMap::new(),
            wrong_of_all: (0, None),
            count: 0,
        };
        for role in Role::ALL {
            doors.renew(role, now)?;
        }
        Ok(doors)
    }

    pub fn invitation(&self, role: Role) -> Invitation {
        self.words[&role].invitation.clone()
    }

    /// Another word; sessions of the role end.
    pub fn renew(&mut self, role: Role, now: Instant) -> Result<(), getrandom::Error> {
        let letters = random::<LENGTH>()?.map(|b| LETTERS[usize::from(b % 32)] as char);
        let groups: Vec<String> = letters.chunks(4).map(|g| g.iter().collect()).collect();
        let digest = digest(&letters.iter().collect::<String>());
        let invitation = Invitation { word: groups.join("-"), expires: now + self.lasts };
        self.words.insert(role, Word { invitation, digest });
        self.sessions.retain(|_, s| s.role != role);
        Ok(())
    }

    /// Lets somebody in by a word: the token of the session, and the session.
    pub fn enter(
        &mut self,
        word: &str,
        name: &str,
        from: IpAddr,
        now: Instant,
    ) -> Result<(String, Session), Refusal> {
        self.forget(now);
        let of_address = self.wrong.get(&from).map_or(0, |w| w.0);
        if of_address >= MAX_WRONG || self.wrong_of_all.0 >= MAX_WRONG_OF_ALL {
            return Err(Refusal::TooOften);
        }
        let given = digest(&plain(word));
        // Every word is compared to its end, whichever it is.
        let mut found = None;
        for role in Role::ALL {
            let word = &self.words[&role];
            let same = bool::from(word.digest.ct_eq(&given));
            if same & (now < word.invitation.expires) {
                found = Some((role, word.invitation.expires));
            }
        }
        let Some((role, expires)) = found else {
            self.wrong_of_all.0 += 1;
            self.wrong_of_all.1.get_or_insert(now);
            if self.wrong.len() < MAX_ADDRESSES || self.wrong.contains_key(&from) {
                self.wrong.entry(from).or_insert((0, now)).0 += 1;
            }
            return Err(Refusal::Wrong);
        };
        if self.sessions.len() >= MAX_SESSIONS {
            return Err(Refusal::Full);
        }
        let token: String =
            random::<32>().map_err(|_| Refusal::Full)?.iter().map(|b| format!("{b:02x}")).collect();
        self.count += 1;
        let session = Session { role, name: name.to_owned(), id: self.count, expires };
        self.sessions.insert(digest(&token), session.clone());
        Ok((token, session))
    }

    /// The session of a token. What is looked up is the token's digest, so that the time it takes tells nothing of others.
    pub fn session(&self, token: &str, now: Instant) -> Option<Session> {
        self.sessions.get(&digest(token)).filter(|s| now < s.expires).cloned()
    }

    /// Whoever came in is called otherwise.
    pub fn rename(&mut self, token: &str, name: &str) -> Option<Session> {
        let session = self.sessions.get_mut(&digest(token))?;
        session.name = name.to_owned();
        Some(session.clone())
    }

    pub fn leave(&mut self, token: &str) {
        self.sessions.remove(&digest(token));
    }

    fn forget(&mut self, now: Instant) {
        self.sessions.retain(|_, s| now < s.expires);
        self.wrong.retain(|_, (_, since)| now.duration_since(*since) < WINDOW);
        if self.wrong_of_all.1.is_some_and(|since| now.duration_since(since) >= WINDOW) {
            self.wrong_of_all = (0, None);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::LOCALHOST);
    const THERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(192, 0, 2, 7));

    fn doors(now: Instant) -> Doors {
        Doors::new(Duration::from_secs(60), now).unwrap()
    }

    #[test]
    fn a_word_lets_in_as_its_role_until_it_expires_or_is_renewed() {
        let now = Instant::now();
        let mut doors = doors(now);
        for role in Role::ALL {
            let word = doors.invitation(role).word;
            assert_eq!(word.len(), LENGTH + 2);
            // As somebody types it.
            let typed = format!(" {} ", word.replace('-', " ").to_uppercase().replace('0', "O"));
            let (token, session) = doors.enter(&typed, "Ada", HERE, now).unwrap();
            assert_eq!((session.role, session.name.as_str()), (role, "Ada"));
            assert_eq!(doors.session(&token, now), Some(session));
            assert_eq!(doors.session(&token, now + Duration::from_secs(61)), None);
            let late = now + Duration::from_secs(61);
            assert_eq!(doors.enter(&word, "", HERE, late).unwrap_err(), Refusal::Wrong);
            let (token, _) = doors.enter(&word, "", HERE, now).unwrap();
            doors.renew(role, now).unwrap();
            assert_eq!(doors.session(&token, now), None);
            assert_eq!(doors.enter(&word, "", HERE, now).unwrap_err(), Refusal::Wrong);
        }
        assert_ne!(doors.invitation(Role::Viewer).word, doors.invitation(Role::Operator).word);
    }

    #[test]
    fn a_session_ends_when_it_is_left() {
        let now = Instant::now();
        let mut doors = doors(now);
        let word = doors.invitation(Role::Viewer).word;
        let (token, _) = doors.enter(&word, "", HERE, now).unwrap();
        assert_eq!(doors.session("", now), None);
        assert_eq!(doors.session(&token[1..], now), None);
        doors.leave(&token);
        assert_eq!(doors.session(&token, now), None);
    }

    #[test]
    fn guessing_ends_soon_and_only_for_who_guesses() {
        let now = Instant::now();
        let mut doors = doors(now);
        let word = doors.invitation(Role::Viewer).word;
        for _ in 0..MAX_WRONG {
            assert_eq!(doors.enter("0000-0000-0000", "", THERE, now).unwrap_err(), Refusal::Wrong);
        }
        assert_eq!(doors.enter(&word, "", THERE, now).unwrap_err(), Refusal::TooOften);
        assert!(doors.enter(&word, "", HERE, now).is_ok());
        let later = now + WINDOW;
        let mut fresh = Doors::new(WINDOW * 3, now).unwrap();
        for n in 0..MAX_WRONG_OF_ALL {
            let from = IpAddr::from([10, 0, (n / 5) as u8, (n % 5) as u8]);
            assert_eq!(fresh.enter("x", "", from, now).unwrap_err(), Refusal::Wrong);
        }
        let word = fresh.invitation(Role::Viewer).word;
        assert_eq!(fresh.enter(&word, "", HERE, now).unwrap_err(), Refusal::TooOften);
        assert!(fresh.enter(&word, "", HERE, later).is_ok());
    }

    #[test]
    fn sessions_and_counted_addresses_are_bounded() {
        let now = Instant::now();
        let mut doors = doors(now);
        let word = doors.invitation(Role::Viewer).word;
        for _ in 0..MAX_SESSIONS {
            doors.enter(&word, "", HERE, now).unwrap();
        }
        assert_eq!(doors.enter(&word, "", HERE, now).unwrap_err(), Refusal::Full);
        assert!(doors.wrong.len() <= MAX_ADDRESSES);
    }
}
