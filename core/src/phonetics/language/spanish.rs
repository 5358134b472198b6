//! Spanish spelling. *c* before *e* and *i*, and *z*, have two ways: as in America (S) and as in
//! Castile (TH).

use super::rules::Reader;
use crate::phonetics::{Phone, SpokenPhone};

pub(super) fn say(word: &str) -> Vec<Vec<SpokenPhone>> {
    vec![read(word, Phone::S), read(word, Phone::Th)]
}

fn plain(c: char) -> char {
    match c {
        'á' => 'a',
        'é' => 'e',
        'í' => 'i',
        'ó' => 'o',
        'ú' | 'ü' => 'u',
        c => c,
    }
}

fn is_vowel(c: char) -> bool {
    matches!(plain(c), 'a' | 'e' | 'i' | 'o' | 'u')
}

/// *a*, *e*, *o*, and *í*, *ú*: never a glide.
fn is_strong(c: char) -> bool {
    matches!(c, 'í' | 'ú') || matches!(plain(c), 'a' | 'e' | 'o')
}

fn read(word: &str, soft: Phone) -> Vec<SpokenPhone> {
    use Phone::*;
    let mut r = Reader::new(word);
    while !r.done() {
        let (c, next) = (r.peek(0), r.peek(1));
        let front = matches!(plain(next), 'e' | 'i');
        match c {
            _ if is_vowel(c) => vowel(&mut r),
            'y' if r.ends_after(1) => r.vowel(1, Iy, false),
            'y' => r.say(1, &[Y]),
            'c' if next == 'h' => r.say(2, &[Ch]),
            'c' if front => r.say(1, &[soft]),
            'z' => r.say(1, &[soft]),
            'c' | 'k' => r.say(1, &[K]),
            'q' => r.say(if next == 'u' { 2 } else { 1 }, &[K]),
            'g' if front => r.say(1, &[Hh]),
            'g' if next == 'u' && matches!(plain(r.peek(2)), 'e' | 'i') => r.say(2, &[G]),
            'g' => r.say(1, &[G]),
            'j' => r.say(1, &[Hh]),
            'h' => r.skip(1),
            'l' if next == 'l' => r.say(2, &[Y]),
            'l' => r.say(1, &[L]),
            'r' => r.say(if next == 'r' { 2 } else { 1 }, &[D]),
            'ñ' => r.say(1, &[N, Y]),
            'n' if matches!(next, 'b' | 'v' | 'p' | 'm') => r.say(1, &[M]),
            'n' if matches!(next, 'g' | 'c' | 'k' | 'q' | 'j')
                && !(next == 'c' && matches!(plain(r.peek(2)), 'e' | 'i' | 'h')) =>
            {
                r.say(1, &[Ng]);
            }
            'n' => r.say(1, &[N]),
            'd' if is_vowel(r.peek(-1)) && (is_vowel(next) || r.ends_after(1)) => r.say(1, &[Dh]),
            'd' => r.say(1, &[D]),
            'b' | 'v' => r.say(1, &[B]),
            'f' => r.say(1, &[F]),
            'm' => r.say(1, &[M]),
            'p' => r.say(1, &[P]),
            's' => r.say(1, &[S]),
            't' => r.say(1, &[T]),
            'w' => r.say(1, &[W]),
            'x' if r.first() => r.say(1, &[S]),
            'x' => r.say(1, &[K, S]),
            _ => r.skip(1),
        }
    }
    let last = word.chars().last().unwrap_or(' ');
    let from_end = if is_vowel(last) || matches!(last, 'n' | 's') { 2 } else { 1 };
    r.finish(from_end)
}

/// One vowel, or a diphthong with the glide before or after its vowel.
fn vowel(r: &mut Reader) {
    use Phone::*;
    let (c, next) = (r.peek(0), r.peek(1));
    let glides = |c: char| matches!(c, 'i' | 'u' | 'ü');
    if glides(c) && is_vowel(next) && !(glides(next) && next == c) {
        return r.say(1, &[if c == 'i' { Y } else { W }]);
    }
    let accent = plain(c) != c && c != 'ü';
    let closing = match next {
        'i' => Some('i'),
        'y' if r.ends_after(2) || !is_vowel(r.peek(2)) => Some('i'),
        'u' => Some('u'),
        _ => None,
    }
    .filter(|_| is_strong(c) && !(is_vowel(r.peek(2)) && matches!(next, 'i' | 'u')));
    match (plain(c), closing) {
        ('a', Some('i')) => r.vowel(2, Ay, accent),
        ('a', Some(_)) => r.vowel(2, Aw, accent),
        ('e', Some('i')) => r.vowel(2, Ey, accent),
        ('o', Some('i')) => r.vowel(2, Oy, accent),
        ('e', Some(_)) => {
            r.vowel(2, Eh, accent);
            r.say(0, &[W]);
        }
        ('a', None) => r.vowel(1, Aa, accent),
        ('e', None) => r.vowel(1, Eh, accent),
        ('o', _) => r.vowel(1, Ao, accent),
        ('u', _) => r.vowel(1, Uw, accent),
        _ => r.vowel(1, Iy, accent),
    }
}
