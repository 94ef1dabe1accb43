//! Address patterns, as OSC 1.0 has them.

/// Has it any of the characters that make an address a pattern?
pub fn is_pattern(address: &str) -> bool {
    address.contains(['*', '?', '[', ']', '{', '}'])
}

/// Does `pattern` stand for `address`?
///
/// Both have equally many parts between slashes, and each part stands for its own: `?` for any character, `*` for any
/// number of any, `[a-d]` for one of those, `[!a-d]` for one of the others, `{one,two}` for one of these words. A
/// pattern with a bracket that is not closed stands for nothing. Time is that of the product of the two lengths at most.
pub fn matches(pattern: &str, address: &str) -> bool {
    let (mut patterns, mut parts) = (pattern.split('/'), address.split('/'));
    loop {
        match (patterns.next(), parts.next()) {
            (None, None) => return true,
            (Some(pattern), Some(part)) if part_matches(pattern.as_bytes(), part.as_bytes()) => {}
            _ => return false,
        }
    }
}

fn part_matches(mut pattern: &[u8], part: &[u8]) -> bool {
    // Which beginnings of the part the pattern so far stands for. All at once, so that no pattern makes it go back.
    let mut reached = vec![false; part.len() + 1];
    reached[0] = true;
    while let Some((&first, rest)) = pattern.split_first() {
        pattern = match first {
            b'*' => {
                let from = reached.iter().position(|r| *r).unwrap_or(part.len() + 1);
                (from..=part.len()).for_each(|i| reached[i] = true);
                rest
            }
            b'[' => {
                let Some(end) = rest.iter().position(|b| *b == b']') else { return false };
                let set = &rest[..end];
                reached = step(&reached, |at| part.get(at).is_some_and(|c| is_in(set, *c)).then_some(1));
                &rest[end + 1..]
            }
            b'{' => {
                let Some(end) = rest.iter().position(|b| *b == b'}') else { return false };
                let mut next = vec![false; part.len() + 1];
                for word in rest[..end].split(|b| *b == b',') {
                    let found = step(&reached, |at| part[at..].starts_with(word).then_some(word.len()));
                    next.iter_mut().zip(found).for_each(|(n, f)| *n |= f);
                }
                reached = next;
                &rest[end + 1..]
            }
            b']' | b'}' => return false,
            c => {
                reached =
                    step(&reached, |at| part.get(at).is_some_and(|p| c == b'?' || *p == c).then_some(1));
                rest
            }
        };
    }
    reached[part.len()]
}

/// From every place reached, on by as much as `on` says.
fn step(reached: &[bool], on: impl Fn(usize) -> Option<usize>) -> Vec<bool> {
    let mut next = vec![false; reached.len()];
    for at in (0..reached.len()).filter(|at| reached[*at]) {
        if let Some(by) = on(at) {
            next[at + by] = true;
        }
    }
    next
}

fn is_in(set: &[u8], c: u8) -> bool {
    let (not, mut set) = match set.split_first() {
        Some((b'!', rest)) => (true, rest),
        _ => (false, set),
    };
    let mut found = false;
    while let Some((&from, rest)) = set.split_first() {
        match rest {
            // A minus at the end is a minus.
            [b'-', to, rest @ ..] => {
                found |= (from..=*to).contains(&c);
                set = rest;
            }
            _ => {
                found |= from == c;
                set = rest;
            }
        }
    }
    found != not
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_osc_1_0_says() {
        // OSC 1.0, "OSC Message Dispatching and Pattern Matching".
        for (pattern, yes, no) in [
            ("/a/?", "/a/b", "/a/bc"),
            ("/a/*", "/a/", "/a/b/c"),
            ("/*/c", "/abba/c", "/a/b/c"),
            ("/a[bc]d", "/acd", "/add"),
            ("/a[b-d]e", "/ade", "/aee"),
            ("/a[!b-d]e", "/aee", "/ace"),
            ("/a[b-]e", "/a-e", "/ace"),
            ("/a[b!]e", "/a!e", "/ace"),
            ("/{foo,bar}/x", "/bar/x", "/foobar/x"),
            ("/f{oo,}t", "/ft", "/fot"),
            ("/*{a,ab}*c", "/xxabc", "/xxbd"),
            ("/look/split-*/strength", "/look/split-tone/strength", "/look/contrast/strength"),
        ] {
            assert!(matches(pattern, yes), "{pattern} stands for {yes}");
            assert!(!matches(pattern, no), "{pattern} does not stand for {no}");
        }
        for open in ["/a[b", "/a{b", "/a]b", "/a}b"] {
            assert!(!matches(open, "/ab") && !matches(open, open));
        }
    }

    #[test]
    fn no_pattern_takes_long() {
        let pattern = format!("/{}b", "*a{a,aa}".repeat(30));
        let start = std::time::Instant::now();
        assert!(!matches(&pattern, &format!("/{}", "a".repeat(250))));
        assert!(start.elapsed().as_millis() < 1000);
    }
}
