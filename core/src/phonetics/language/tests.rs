use super::*;
use proptest::prelude::*;

/// What a language says for words, as ARPABET without stress but for the stressed vowel's mark.
fn said(language: Language, word: &str) -> String {
    let ways = language.say(word);
    let text = ways.first().map(ToString::to_string).unwrap_or_default();
    text.replace('0', "")
}

fn check(language: Language, facts: &[(&str, &str)]) {
    let wrong: Vec<String> = facts
        .iter()
        .filter(|(word, phones)| said(language, word) != *phones)
        .map(|(word, phones)| format!("{word}: {} instead of {phones}", said(language, word)))
        .collect();
    assert!(wrong.is_empty(), "{language}:\n{}", wrong.join("\n"));
}

/// From memory, as the Real Academia's *Ortografía* (2010) states the rules: what each letter says, where
/// stress lies.
#[test]
fn spanish_words() {
    check(
        Language::Spanish,
        &[
            ("casa", "K AA1 S AA"),
            ("queso", "K EH1 S AO"),
            ("guerra", "G EH1 D AA"),
            ("pingüino", "P IY NG G W IY1 N AO"),
            ("gente", "HH EH1 N T EH"),
            ("jamón", "HH AA M AO1 N"),
            ("hola", "AO1 L AA"),
            ("lluvia", "Y UW1 B Y AA"),
            ("año", "AA1 N Y AO"),
            ("perro", "P EH1 D AO"),
            ("ciudad", "S Y UW DH AA1 DH"),
            ("agua", "AA1 G W AA"),
            ("rey", "D EY1"),
            ("puerto", "P W EH1 D T AO"),
            ("país", "P AA IY1 S"),
            ("canción", "K AA N S Y AO1 N"),
            ("mucho", "M UW1 CH AO"),
            ("enviar", "EH M B Y AA1 D"),
            ("examen", "EH K S AA1 M EH N"),
            ("y", "IY1"),
        ],
    );
    let ways: Vec<String> = Language::Spanish.say("zapato").iter().map(ToString::to_string).collect();
    assert_eq!(ways, ["S AA0 P AA1 T AO0", "TH AA0 P AA1 T AO0"], "America, Castile");
}

/// From memory, as Italian grammars teach: soft and hard *c* and *g*, *gli*, *gn*, *sc*, voiced *s*.
#[test]
fn italian_words() {
    check(
        Language::Italian,
        &[
            ("ciao", "CH AA1 AO"),
            ("chiesa", "K Y EH1 Z AA"),
            ("gelato", "JH EH L AA1 T AO"),
            ("spaghetti", "S P AA G EH1 T IY"),
            ("giorno", "JH AO1 D N AO"),
            ("famiglia", "F AA M IY1 L Y AA"),
            ("bagno", "B AA1 N Y AO"),
            ("pesce", "P EH1 SH EH"),
            ("sciarpa", "SH AA1 D P AA"),
            ("schiuma", "S K Y UW1 M AA"),
            ("casa", "K AA1 Z AA"),
            ("sasso", "S AA1 S AO"),
            ("città", "CH IY T AA1"),
            ("quando", "K W AA1 N D AO"),
            ("piazza", "P Y AA1 T S AA"),
            ("mio", "M IY1 AO"),
            ("hanno", "AA1 N AO"),
            ("sbarco", "Z B AA1 D K AO"),
        ],
    );
}

/// From memory, as French primers teach: mute endings, nasal vowels, *oi*, *eau*, *ill*, *ch*, *gn*.
#[test]
fn french_words() {
    check(
        Language::French,
        &[
            ("bonjour", "B AO ZH UW1 G"),
            ("eau", "OW1"),
            ("l'eau", "L OW1"),
            ("bateau", "B AA T OW1"),
            ("mer", "M EH1 G"),
            ("chat", "SH AA1"),
            ("trois", "T G W AA1"),
            ("fille", "F IY1 Y"),
            ("ville", "V IY1 L"),
            ("montagne", "M AO T AA1 N Y"),
            ("parler", "P AA G L EY1"),
            ("temps", "T AA1"),
            ("vin", "V AE1"),
            ("vingt", "V AE1"),
            ("bien", "B Y AE1"),
            ("loin", "L W AE1"),
            ("nation", "N AA S Y AO1"),
            ("rouge", "G UW1 ZH"),
            ("garçon", "G AA G S AO1"),
            ("mangeons", "M AA ZH AO1"),
            ("maison", "M EH Z AO1"),
            ("soleil", "S AO L EH1 Y"),
            ("travail", "T G AA V AA1 Y"),
            ("phare", "F AA1 G"),
            ("année", "AA N EY1"),
            ("le", "L UH1"),
            ("nuit", "N W IY1"),
            ("oui", "W IY1"),
            ("qui", "K IY1"),
            ("belle", "B EH1 L"),
        ],
    );
    // A verb's ending, and a noun's; the sound decides.
    let ways: Vec<String> = Language::French.say("parlent").iter().map(ToString::to_string).collect();
    assert_eq!(ways[0], "P AA1 G L", "{ways:?}");
    assert!(ways.iter().any(|w| w.starts_with("P AA0 G L AA1")), "{ways:?}");
    // Liaison.
    let ways: Vec<String> = Language::French.say("petit").iter().map(ToString::to_string).collect();
    assert!(ways.iter().any(|w| w.ends_with("T IY1 T")) && ways[0].ends_with("T IY1"), "{ways:?}");
}

#[test]
fn languages_are_known_by_name_and_code() {
    for language in Language::ALL {
        assert_eq!(language.name().parse(), Ok(language));
        assert_eq!(language.code().parse(), Ok(language));
    }
    assert!("Latin".parse::<Language>().is_err());
    assert_eq!(Language::English.say("tide"), []);
}

proptest! {
    /// Any letters are read without stumbling, and whatever has a vowel letter has one stressed vowel.
    #[test]
    fn any_word_is_read(word in "[a-zàâáäæçéèêëíìîïñóòôöœúùûüÿ']{0,16}", which in 1usize..4) {
        let language = Language::ALL[which];
        for way in language.say(&word) {
            prop_assert!(way.guessed && !way.phones.is_empty());
            let stressed = way.phones.iter().filter(|p| p.stressed()).count();
            let vowels = way.phones.iter().filter(|p| p.phone.is_vowel()).count();
            // What stands after an apostrophe may have no vowel; then nothing is stressed.
            prop_assert!(stressed == vowels.min(1) || word.contains('\'') && stressed == 0, "{}: {}", word, way);
        }
    }
}
