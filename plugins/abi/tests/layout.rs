//! Compiles the C header and compares it with its Rust mirror.

use std::{fmt::Write as _, fs, mem::offset_of, path::Path, process::Command};

use goodwire_plugin_abi::{
    ABI_MAJOR, ABI_MINOR, BLOCK_LAST, BROKEN, Block, Bytes, ENOUGH, FAILED, INVALID, OK,
    PluginTable,
};

/// Every fact that both sides must agree on: a C expression and Rust's value of it.
fn facts() -> Vec<(String, i64)> {
    let mut facts = vec![
        ("GW_ABI_MAJOR".to_owned(), i64::from(ABI_MAJOR)),
        ("GW_ABI_MINOR".to_owned(), i64::from(ABI_MINOR)),
        ("GW_OK".to_owned(), i64::from(OK)),
        ("GW_ENOUGH".to_owned(), i64::from(ENOUGH)),
        ("GW_INVALID".to_owned(), i64::from(INVALID)),
        ("GW_FAILED".to_owned(), i64::from(FAILED)),
        ("GW_BROKEN".to_owned(), i64::from(BROKEN)),
        ("GW_BLOCK_LAST".to_owned(), i64::from(BLOCK_LAST)),
        ("sizeof(gw_status)".to_owned(), 4),
    ];
    macro_rules! layout {
        ($c:literal, $rust:ty, $($field:ident),+) => {
            facts.push((format!("sizeof({})", $c), size_of::<$rust>() as i64));
            facts.push((format!("_Alignof({})", $c), align_of::<$rust>() as i64));
            $(facts.push((
                format!("offsetof({}, {})", $c, stringify!($field)),
                offset_of!($rust, $field) as i64,
            ));)+
        };
    }
    layout!("gw_bytes", Bytes, data, byte_count);
    layout!(
        "gw_block",
        Block,
        step,
        repeat,
        channel_count,
        frame_count,
        flags,
        reserved,
        first_frame,
        stream_frame,
        channels
    );
    layout!(
        "gw_plugin",
        PluginTable,
        abi_major,
        abi_minor,
        describe,
        open,
        plan,
        render,
        begin,
        feed,
        note,
        readings,
        finish,
        error,
        close,
        extension
    );
    facts
}

/// Compiles `source` against the header as `standard` and gives what the program prints.
fn compile_and_run(name: &str, standard: &str, source: &str) -> String {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let file = folder.join(name);
    let program = file.with_extension("out");
    fs::write(&file, source).unwrap();
    let built = Command::new("cc")
        .args([standard, "-Wall", "-Wextra", "-Werror", "-pedantic", "-I"])
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/include"))
        .arg(&file)
        .arg("-o")
        .arg(&program)
        .output()
        .expect("a C compiler named cc is installed");
    let errors = String::from_utf8_lossy(&built.stderr);
    assert!(
        built.status.success(),
        "the header does not compile: {errors}"
    );
    String::from_utf8(Command::new(program).output().unwrap().stdout).unwrap()
}

#[test]
fn header_and_mirror_agree_on_every_size_offset_and_constant() {
    let facts = facts();
    let mut source = "#include <stddef.h>\n#include <stdio.h>\n\
        #include \"goodwire_plugin.h\"\nint main(void) {\n"
        .to_owned();
    for (expression, _) in &facts {
        writeln!(source, "printf(\"%lld\\n\", (long long)({expression}));").unwrap();
    }
    source.push_str("return 0;\n}\n");
    let printed = compile_and_run("layout.c", "-std=c11", &source);
    let got: Vec<i64> = printed.lines().map(|line| line.parse().unwrap()).collect();
    assert_eq!(got.len(), facts.len());
    for ((expression, rust), c) in facts.iter().zip(got) {
        assert_eq!(c, *rust, "{expression}: C says {c}, Rust says {rust}");
    }
}

#[test]
fn the_calls_of_the_header_have_the_signatures_of_the_mirror() {
    // C checks its own declarations here; the mirror is read beside them. A changed signature in
    // the header breaks these assignments.
    let source = r#"
#include "goodwire_plugin.h"
static gw_status describe(gw_bytes *a) { (void)a; return GW_OK; }
static gw_status open_(gw_bytes a, gw_session **b, gw_bytes *c) { (void)a; (void)b; (void)c; return GW_OK; }
static gw_status plan(gw_session *a, gw_bytes *b) { (void)a; (void)b; return GW_OK; }
static gw_status render(gw_session *a, uint32_t b, uint64_t c, uint32_t d, float *e) { (void)a; (void)b; (void)c; (void)d; (void)e; return GW_OK; }
static gw_status begin(gw_session *a, uint32_t b, uint32_t c, int32_t d) { (void)a; (void)b; (void)c; (void)d; return GW_OK; }
static gw_status feed(gw_session *a, const gw_block *b) { (void)a; (void)b; return GW_OK; }
static gw_status note(gw_session *a, gw_bytes b) { (void)a; (void)b; return GW_OK; }
static gw_status readings(gw_session *a, gw_bytes *b) { (void)a; (void)b; return GW_OK; }
static gw_status finish(gw_session *a, int32_t b, gw_bytes *c) { (void)a; (void)b; (void)c; return GW_OK; }
static gw_bytes error(gw_session *a) { gw_bytes none = {0, 0}; (void)a; return none; }
static void close_(gw_session *a) { (void)a; }
static const void *extension(gw_bytes a) { (void)a; return 0; }
static const gw_plugin table = {GW_ABI_MAJOR, GW_ABI_MINOR, describe, open_, plan, render, begin,
  feed, note, readings, finish, error, close_, extension};
const gw_plugin *goodwire_plugin(uint32_t host_major, uint32_t host_minor) {
  (void)host_minor;
  return host_major == GW_ABI_MAJOR ? &table : 0;
}
int main(void) { return goodwire_plugin(1, 0) == &table ? 0 : 1; }
"#;
    compile_and_run("signatures.c", "-std=c99", source);
}
