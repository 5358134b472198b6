//! Letter-to-sound: how an unknown word is probably said, from voting decision trees learned on the
//! dictionary (`training/train_letters.py`, which documents the format).

use super::Phone;
use super::lexicon::{LexiconError, SpokenPhone, Stress, block};

const MAGIC: &[u8; 4] = b"LWLS";
const HEADER: usize = 16;
/// a to z and the apostrophe.
const LETTERS: usize = 27;
/// From here on a node's byte is a question, below it is a leaf's class.
const QUESTION: u8 = 224;
/// Added to a feature: ask "at least" instead of "equal".
const AT_LEAST: u8 = 16;
const FEATURES: usize = 10;
const UNSTRESSED_AH: u8 = 64;

#[derive(Clone, Copy, Debug)]
enum Node {
    Leaf(u8),
    /// The node for "yes" follows at once; the one for "no" stands at `no`.
    Ask {
        feature: u8,
        at_least: bool,
        value: u8,
        no: u32,
    },
}

/// Letter-to-sound rules.
#[derive(Clone, Debug)]
pub(super) struct LetterRules {
    /// What a letter can say: zero, one or two phones.
    classes: Vec<Vec<SpokenPhone>>,
    nodes: Vec<Node>,
    /// Root of every tree, all trees of a letter one after the other.
    roots: Vec<u32>,
    /// Trees per letter, which vote.
    voters: usize,
}

impl LetterRules {
    /// `offset` is where the bytes start in their file, for messages.
    pub(super) fn from_bytes(bytes: &[u8], offset: usize) -> Result<Self, LexiconError> {
        let (head, payload, rest) = block(bytes, offset, MAGIC, "LWLS", HEADER, 8)?;
        let damaged = |what| LexiconError::Damaged { bit: 0, what };
        if !rest.is_empty() {
            return Err(damaged("bytes after the end"));
        }
        let count = usize::from(u16::from_le_bytes([head[6], head[7]]));
        let [voters @ 1..=25, payload @ ..] = payload else {
            return Err(damaged("how many trees vote"));
        };
        let (table, mut rest) =
            payload.split_at_checked(count * 3).ok_or_else(|| damaged("what letters say"))?;
        let mut classes = Vec::with_capacity(count);
        for row in table.chunks_exact(3) {
            let said = row.get(1..1 + usize::from(row[0])).ok_or_else(|| damaged("what letters say"))?;
            let phones: Option<Vec<SpokenPhone>> = said.iter().map(|p| phone(*p)).collect();
            classes.push(phones.ok_or_else(|| damaged("what letters say"))?);
        }
        let mut rules = Self { classes, nodes: Vec::new(), roots: Vec::new(), voters: usize::from(*voters) };
        for _ in 0..LETTERS * rules.voters {
            rules.roots.push(rules.nodes.len() as u32);
            rules.read_tree(&mut rest).ok_or_else(|| damaged("a decision tree"))?;
        }
        if rest.is_empty() { Ok(rules) } else { Err(damaged("bytes after the trees")) }
    }

    /// Reads one tree in pre-order without recursing, so that no file can exhaust the stack.
    fn read_tree(&mut self, bytes: &mut &[u8]) -> Option<()> {
        // Questions whose "no" side is still to come.
        let mut open: Vec<usize> = Vec::new();
        loop {
            let [byte, rest @ ..] = *bytes else { return None };
            *bytes = rest;
            if *byte < QUESTION {
                if usize::from(*byte) >= self.classes.len() {
                    return None;
                }
                self.nodes.push(Node::Leaf(*byte));
                let next = self.nodes.len() as u32;
                match open.pop() {
                    None => return Some(()),
                    Some(question) => {
                        if let Node::Ask { no, .. } = &mut self.nodes[question] {
                            *no = next;
                        }
                    }
                }
            } else {
                let [value, rest @ ..] = *bytes else { return None };
                *bytes = rest;
                let at_least = (*byte - QUESTION) & AT_LEAST != 0;
                let feature = (*byte - QUESTION) & !AT_LEAST;
                if usize::from(feature) >= FEATURES {
                    return None;
                }
                open.push(self.nodes.len());
                self.nodes.push(Node::Ask { feature, at_least, value: *value, no: 0 });
            }
        }
    }

    /// What the letters of a lower-case word say; letters outside a to z say nothing.
    pub(super) fn say(&self, word: &str) -> Vec<SpokenPhone> {
        let codes: Vec<u8> = word
            .bytes()
            .filter_map(|b| match b {
                b'a'..=b'z' => Some(b - b'a' + 1),
                b'\'' => Some(27),
                _ => None,
            })
            .collect();
        let at = |i: isize| usize::try_from(i).ok().and_then(|i| codes.get(i)).copied().unwrap_or(0);
        let (mut last, mut before) = (0u8, 0u8);
        let mut out = Vec::new();
        for (i, code) in codes.iter().enumerate() {
            let i = i as isize;
            let features: [u8; FEATURES] = [
                at(i - 4),
                at(i - 3),
                at(i - 2),
                at(i - 1),
                at(i + 1),
                at(i + 2),
                at(i + 3),
                at(i + 4),
                last,
                before,
            ];
            let said = self.vote(usize::from(*code) - 1, &features);
            out.extend(&self.classes[usize::from(said)]);
            (before, last) = (last, said);
        }
        out
    }

    /// What most trees of a letter say; of equals, what the first of them says.
    fn vote(&self, letter: usize, features: &[u8; FEATURES]) -> u8 {
        let mut said: Vec<(u8, usize)> = Vec::with_capacity(self.voters);
        for tree in letter * self.voters..(letter + 1) * self.voters {
            let class = self.decide(tree, features);
            match said.iter_mut().find(|(c, _)| *c == class) {
                Some((_, votes)) => *votes += 1,
                None => said.push((class, 1)),
            }
        }
        let most = said.iter().map(|(_, votes)| *votes).max().unwrap_or(0);
        said.iter().find(|(_, votes)| *votes == most).map_or(0, |(class, _)| *class)
    }

    fn decide(&self, tree: usize, features: &[u8; FEATURES]) -> u8 {
        let mut at = self.roots[tree] as usize;
        loop {
            match self.nodes[at] {
                Node::Leaf(class) => return class,
                Node::Ask { feature, at_least, value, no } => {
                    let x = features[usize::from(feature)];
                    let yes = if at_least { x >= value } else { x == value };
                    at = if yes { at + 1 } else { no as usize };
                }
            }
        }
    }
}

fn phone(code: u8) -> Option<SpokenPhone> {
    let unstressed = code & UNSTRESSED_AH != 0;
    let phone = *Phone::ALL.get(usize::from(code & !UNSTRESSED_AH)).filter(|p| **p != Phone::Sil)?;
    // The rules know stress for AH alone; other vowels of a guessed word count as stressed, since
    // their shape does not depend on it.
    let stress = if phone.is_vowel() && !unstressed { Stress::Primary } else { Stress::None };
    Some(SpokenPhone { phone, stress })
}
