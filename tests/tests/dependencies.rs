//! What Lipwright is made of: every dependency from the public registry, under a licence that lets a
//! builder use, change and pass on the program.
//!
//! A database of known vulnerabilities cannot be reached from every machine that runs these tests, so
//! that check is left to whoever publishes a release (`cargo audit`).

use lipwright_tests::workspace;
use serde_json::Value;
use std::process::Command;

/// Licences that ask for no more than keeping their notice. Of alternatives, one of these is enough.
const PERMISSIVE: [&str; 10] = [
    "MIT",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Zlib",
    "0BSD",
    "Unicode-3.0",
    "CC0-1.0",
    "Unlicense",
];
/// Further ones, each looked at.
const LOOKED_AT: [(&str, &str); 2] = [
    // Asks nothing of programs that merely contain it.
    ("BSL-1.0", "Boost"),
    // Asks for the source of its own files, which are published unchanged.
    ("MPL-2.0", "file by file"),
];

fn allowed(expression: &str) -> bool {
    let known = |name: &str| {
        let name = name.trim_matches(['(', ')', ' ']).split(" WITH ").next().unwrap_or_default();
        PERMISSIVE.contains(&name) || LOOKED_AT.iter().any(|(n, _)| *n == name)
    };
    // "/" is an old way to write OR.
    expression.split(" AND ").all(|all| all.replace('/', " OR ").split(" OR ").any(|n| known(n.trim())))
}

fn packages() -> Vec<Value> {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--offline", "--locked"])
        .current_dir(workspace())
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let all: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    all["packages"].as_array().expect("packages").clone()
}

#[test]
fn licences_are_read_as_written() {
    for good in [
        "MIT OR Apache-2.0",
        "MIT/Apache-2.0",
        "(MIT OR Apache-2.0) AND Unicode-3.0",
        "LGPL-2.1-or-later OR MIT",
    ] {
        assert!(allowed(good), "{good}");
    }
    for bad in ["GPL-3.0", "MIT AND GPL-3.0", "", "LGPL-2.1-or-later"] {
        assert!(!allowed(bad), "{bad}");
    }
}

#[test]
fn every_dependency_has_a_licence_that_is_allowed_and_comes_from_the_registry() {
    let packages = packages();
    assert!(packages.len() > 100);
    let mut faults = Vec::new();
    for package in &packages {
        let name = package["name"].as_str().expect("a name");
        let licence = package["license"].as_str().unwrap_or_default();
        if !allowed(licence) {
            faults.push(format!("{name}: licence '{licence}'"));
        }
        let own = name.starts_with("lipwright");
        let source = package["source"].as_str().unwrap_or_default();
        if own != source.is_empty() || !(own || source.starts_with("registry+")) {
            faults.push(format!("{name}: comes from '{source}'"));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Leptos and its macros bring two versions of a few small crates; of what Lipwright itself names
/// there is one. The tool for mutation is no part of what a builder gets, and its parser is there three times
/// already, in the macros of others.
#[test]
fn what_lipwright_names_is_there_once() {
    let packages = packages();
    let ours = |name: &str| name.starts_with("lipwright") && name != "lipwright-mutants";
    let own = packages.iter().filter(|p| p["name"].as_str().is_some_and(ours));
    let named: std::collections::BTreeSet<&str> = own
        .flat_map(|p| p["dependencies"].as_array().expect("a list"))
        .filter_map(|d| d["name"].as_str())
        .collect();
    let twice: Vec<&str> = named
        .into_iter()
        .filter(|n| packages.iter().filter(|p| p["name"].as_str() == Some(n)).count() > 1)
        .filter(|n| *n != "thiserror" && *n != "sha2") // 1.x of each comes in with Leptos and tooling.
        .collect();
    assert!(twice.is_empty(), "{twice:?}");
}

/// Versions that were taken back by their makers, and builds that differ from the lock file, are not used:
/// every package of the registry stands in the lock file with the check sum of what is compiled.
#[test]
fn every_package_is_locked_with_its_check_sum() {
    let lock = std::fs::read_to_string(workspace().join("Cargo.lock")).expect("the lock file");
    let mut registry = 0;
    for entry in lock.split("[[package]]").skip(1) {
        let field = |name: &str| {
            let line = entry.lines().find_map(|l| l.strip_prefix(name)?.strip_prefix(" = \""));
            line.map(|l| l.trim_end_matches('"'))
        };
        let name = field("name").expect("a name");
        if field("source").is_some() {
            let sum = field("checksum").unwrap_or_default();
            let hex = sum.len() == 64 && sum.bytes().all(|b| b.is_ascii_hexdigit());
            assert!(hex, "{name} is locked without a check sum");
            registry += 1;
        } else {
            assert!(name.starts_with("lipwright"), "{name} comes from nowhere");
        }
    }
    assert!(registry > 100, "{registry} packages from the registry");
}

/// No crate of ours may switch the compiler's checks off: `unsafe_code` is forbidden for the workspace, and
/// every member takes the workspace's lints.
#[test]
fn unsafe_code_is_forbidden_everywhere() {
    let read = |path: &str| std::fs::read_to_string(workspace().join(path)).expect(path);
    assert!(read("Cargo.toml").contains("unsafe_code = \"forbid\""));
    for member in ["core", "app", "tests", "tests/mutants"] {
        let text = read(&format!("{member}/Cargo.toml"));
        let lints = text.split("[lints]").nth(1).expect("a section of lints");
        assert!(lints.trim_start().starts_with("workspace = true"), "{member}");
    }
}
