//! What is generated says what it should; that it compiles and plays is tested in `tests/`.

use super::*;
use crate::export::TrackMeta;
use crate::rig::Preset;

fn still(rig: &Rig, name: &str, frames: usize) -> ServoTrack {
    let meta = TrackMeta { line: name.into(), ..TrackMeta::default() };
    let rest: Vec<_> =
        rig.servos().iter().zip(rig.rest_angles()).map(|(s, a)| vec![s.pulse(a); frames]).collect();
    ServoTrack::dense(rig, meta, Seconds::new(0.02), Seconds::new(-0.46), &rest).expect("fits")
}

fn file<'a>(sketch: &'a Sketch, name: &str) -> &'a str {
    &sketch.files.iter().find(|f| f.name == name).unwrap_or_else(|| panic!("no {name}")).text
}

#[test]
fn every_preset_gives_a_folder() {
    for preset in Preset::ALL {
        let rig = preset.rig();
        let lines = [still(&rig, "one", 50), still(&rig, "two", 60), still(&rig, "three", 70)];
        for outputs in [Outputs::Pins, Outputs::Driver] {
            let settings = SketchSettings { outputs, ..SketchSettings::default() };
            let made = sketches(&lines, &rig, &settings).unwrap_or_else(|e| panic!("{}: {e}", preset.name()));
            assert_eq!(made.len(), 1);
            let config = file(&made[0], "config.h");
            assert!(config.contains(&format!("CHANNELS = {};", rig.servos().len())), "{config}");
            assert!(config.contains("LINES = 3;") && config.contains("SELECT_BITS = 2;"));
            assert!(config.contains("#define SYNC_ROLE SYNC_NONE") && !config.contains('@'));
            assert!(config.contains(&format!("CONFIG_HASH = 0x{:08X};", packed::rig_mark(&rig))));
            assert!(made[0].files.iter().any(|f| f.name == "talking-head.ino"));
            assert!(file(&made[0], "README.txt").contains("pinch"));
        }
    }
}

#[test]
fn names_cannot_break_out_of_the_source() {
    let rig = Rig::jaw_only();
    let nasty = "a\"b\\\n*/ ??/ é @RIG@";
    let settings = SketchSettings { name: "../ö 1".into(), ..SketchSettings::default() };
    let made = sketches(&[still(&rig, nasty, 50)], &rig, &settings).expect("made");
    assert_eq!(made[0].folder, "head-1");
    let tracks = file(&made[0], "tracks.h");
    assert!(
        tracks.contains("NAME_0[] PROGMEM = \"a'b/_*/ ..\"") || tracks.contains("\"a'b/_*/ ../ _ @RIG@\"")
    );
    assert!(tracks.lines().all(|l| !l.ends_with('\\')));
}

#[test]
fn what_does_not_fit_says_what_would() {
    let rig = Rig::jaw_only();
    let settings = SketchSettings::default();
    assert_eq!(sketches(&[], &rig, &settings), Err(SketchError::Lines(0)));
    let many: Vec<ServoTrack> = (0..65).map(|i| still(&rig, &i.to_string(), 4)).collect();
    assert!(matches!(sketches(&many, &rig, &settings), Err(SketchError::Lines(65))));
    let mut d = Preset::JawOnly.describe();
    d.servos[0].channel = 24;
    let far = Rig::new(d).expect("valid");
    let error = sketches(&[still(&far, "x", 4)], &far, &settings).expect_err("no such pin");
    assert!(error.to_string().contains("channels 0 to 23"), "{error}");
    let other = sketches(&[still(&rig, "x", 4)], &Rig::harbourmaster(), &settings);
    assert!(matches!(other, Err(SketchError::Line { .. })));
}

#[test]
fn too_much_for_the_board_is_said_with_what_would_fit() {
    let rig = Rig::jaw_only();
    let packed = [packed::pack(&still(&rig, "x", 500), &rig, Microseconds::new(4.0)).expect("packs")];
    let settings = SketchSettings::default();
    let fits = Size { flash: FLASH_BYTES, tracks: 200_000, ram: 4_000 };
    assert_eq!(fits.check(&settings, &packed), Ok(()));
    // Twice the lines that fit: of ten seconds, five would.
    let flash =
        Size { flash: 20_000 + 2 * (FLASH_BYTES - 20_000), tracks: 2 * (FLASH_BYTES - 20_000), ram: 4_000 };
    let said = flash.check(&settings, &packed).expect_err("too large").to_string();
    assert!(said.contains("flash") && said.contains("about 5 of the 10 seconds"), "{said}");
    let ram = Size { flash: 20_000, tracks: 100, ram: RAM_BYTES - 500 };
    let said = ram.check(&settings, &packed).expect_err("no room for the stack").to_string();
    assert!(said.contains("RAM") && said.contains("second board"), "{said}");
}

#[test]
fn two_boards_get_a_leader_and_a_follower() {
    let mut d = Preset::Harbourmaster.describe();
    for (i, servo) in d.servos.iter_mut().enumerate().skip(11) {
        (servo.controller, servo.channel) = ("brows and neck".into(), i as u64 - 11);
    }
    let rig = Rig::new(d).expect("two boards");
    let made = sketches(&[still(&rig, "x", 40)], &rig, &SketchSettings::default()).expect("made");
    let folders: Vec<&str> = made.iter().map(|s| s.folder.as_str()).collect();
    assert_eq!(folders, ["talking-head-main", "talking-head-brows-and-neck"]);
    assert!(file(&made[0], "config.h").contains("SYNC_ROLE SYNC_LEADER"));
    assert!(file(&made[1], "config.h").contains("SYNC_ROLE SYNC_FOLLOWER"));
    assert!(file(&made[1], "config.h").contains("CHANNELS = 5;"));
}

#[test]
fn boards_of_like_names_get_a_folder_each() {
    let names = |boards: &[&str]| {
        folders(&boards.iter().map(|b| (*b).to_owned()).collect::<Vec<_>>(), &SketchSettings::default())
    };
    assert_eq!(names(&["main"]), ["talking-head"]);
    assert_eq!(
        names(&["a b", "a/b", "A-B", "../a b"]),
        ["talking-head-a-b", "talking-head-a-b-2", "talking-head-A-B-3", "talking-head----a-b"]
    );
}

#[test]
fn the_zip_holds_every_file_and_is_the_same_each_time() {
    let rig = Rig::jaw_only();
    let made = sketches(&[still(&rig, "x", 40)], &rig, &SketchSettings::default()).expect("made");
    let bytes = zip(&made).expect("zips");
    assert_eq!(zip(&made).expect("zips"), bytes);
    assert!(bytes.starts_with(b"PK"));
}

#[test]
fn long_lines_stand_in_parts_and_come_back() {
    let bytes: Vec<u8> = (0..69_999u32).map(|i| (i * 7 % 251) as u8).collect();
    let rig = Rig::jaw_only();
    let packed = [packed::pack(&still(&rig, "x", 40), &rig, Microseconds::new(4.0)).expect("packs")];
    let text = tracks::text(&packed, &[&bytes]);
    assert!(text.contains("PART_2[6000]"));
    assert_eq!(tracks::read_back(&text), [bytes]);
}
