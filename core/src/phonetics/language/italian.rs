//! Italian spelling. Stress that is not written is taken to lie on the last vowel but one; *z* has two
//! ways (T S and D Z), and the sound decides.

use super::rules::Reader;
use crate::phonetics::{Phone, SpokenPhone};

pub(super) fn say(word: &str) -> Vec<Vec<SpokenPhone>> {
    vec![read(word, [Phone::T, Phone::S]), read(word, [Phone::D, Phone::Z])]
}

fn plain(c: char) -> char {
    match c {
        'à' => 'a',
        'è' | 'é' => 'e',
        'ì' | 'í' => 'i',
        'ò' | 'ó' => 'o',
        'ù' | 'ú' => 'u',
        c => c,
    }
}

fn is_vowel(c: char) -> bool {
    matches!(plain(c), 'a' | 'e' | 'i' | 'o' | 'u')
}

fn read(word: &str, z: [Phone; 2]) -> Vec<SpokenPhone> {
    use Phone::*;
    let mut r = Reader::new(word);
    while !r.done() {
        let (c, next) = (r.peek(0), r.peek(1));
        // A double letter is one long sound.
        if c == next && !is_vowel(c) {
            r.skip(1);
            continue;
        }
        let soft = |c: char| matches!(plain(c), 'e' | 'i');
        // The *i* of *ciao* only softens; that of *farmacìa* sounds.
        let mute = |r: &Reader, i: isize| r.peek(i) == 'i' && is_vowel(r.peek(i + 1));
        match c {
            _ if is_vowel(c) => vowel(&mut r),
            'c' if next == 'h' => r.say(2, &[K]),
            'c' if soft(next) => {
                let count = if mute(&r, 1) { 2 } else { 1 };
                r.say(count, &[Ch]);
            }
            'g' if next == 'h' => r.say(2, &[G]),
            'g' if next == 'n' => r.say(2, &[N, Y]),
            'g' if next == 'l' && r.peek(2) == 'i' => {
                let count = if mute(&r, 2) { 3 } else { 2 };
                r.say(count, &[L, Y]);
            }
            'g' if soft(next) => {
                let count = if mute(&r, 1) { 2 } else { 1 };
                r.say(count, &[Jh]);
            }
            's' if next == 'c' && soft(r.peek(2)) => {
                let count = if mute(&r, 2) { 3 } else { 2 };
                r.say(count, &[Sh]);
            }
            's' if is_vowel(r.peek(-1)) && is_vowel(next) => r.say(1, &[Z]),
            's' if matches!(next, 'b' | 'd' | 'g' | 'l' | 'm' | 'n' | 'r' | 'v') => r.say(1, &[Z]),
            's' => r.say(1, &[S]),
            'c' | 'k' | 'q' => r.say(1, &[K]),
            'g' => r.say(1, &[G]),
            'h' => r.skip(1),
            'r' => r.say(1, &[D]),
            'z' => r.say(1, &z),
            'n' if matches!(next, 'c' | 'g' | 'q' | 'k')
                && !(matches!(next, 'c' | 'g') && soft(r.peek(2))) =>
            {
                r.say(1, &[Ng]);
            }
            'b' => r.say(1, &[B]),
            'd' => r.say(1, &[D]),
            'f' => r.say(1, &[F]),
            'j' | 'y' => r.say(1, &[Y]),
            'l' => r.say(1, &[L]),
            'm' => r.say(1, &[M]),
            'n' => r.say(1, &[N]),
            'p' => r.say(1, &[P]),
            't' => r.say(1, &[T]),
            'v' => r.say(1, &[V]),
            'w' => r.say(1, &[W]),
            'x' => r.say(1, &[K, S]),
            _ => r.skip(1),
        }
    }
    r.finish(2)
}

/// One vowel, or a glide before one, or a diphthong.
fn vowel(r: &mut Reader) {
    use Phone::*;
    let (c, next) = (r.peek(0), r.peek(1));
    // At the end, as in *mio* and *tuo*, the stress keeps *i* and *u* vowels.
    let inside = !r.ends_after(2) || r.vowel_count() > 0;
    if c == 'i' && is_vowel(next) && next != 'i' && inside {
        return r.say(1, &[Y]);
    }
    if c == 'u' && is_vowel(next) && next != 'u' && (inside || matches!(r.peek(-1), 'q' | 'g')) {
        return r.say(1, &[W]);
    }
    let accent = plain(c) != c;
    match (plain(c), next) {
        ('a', 'i') => r.vowel(2, Ay, accent),
        ('a', 'u') => r.vowel(2, Aw, accent),
        ('e', 'i') => r.vowel(2, Ey, accent),
        ('o', 'i') => r.vowel(2, Oy, accent),
        ('a', _) => r.vowel(1, Aa, accent),
        ('e', _) => r.vowel(1, Eh, accent),
        ('o', _) => r.vowel(1, Ao, accent),
        ('u', _) => r.vowel(1, Uw, accent),
        _ => r.vowel(1, Iy, accent),
    }
}
