//! The pages say what is there.

use super::files;

fn read(path: &str) -> String {
    let path = files::root().join(path);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

#[test]
fn the_plugin_in_the_read_me_is_the_one_that_is_built_and_run() {
    let plugin = read("plugins/sdk/examples/goodwire_plugin_offset.rs");
    assert!(
        read("README.md").contains(&plugin),
        "README.md shows another plugin"
    );
}

#[test]
fn every_key_of_the_configuration_is_in_the_read_me() {
    let page = read("README.md");
    let settings = read("daemon/src/simulated/settings.rs");
    let fields = settings
        .lines()
        .filter_map(|line| line.trim().strip_prefix("pub "));
    let mut count = 0;
    for field in fields.filter(|field| field.ends_with(',') && field.contains(": ")) {
        let key = field.split(':').next().unwrap_or_default();
        assert!(
            page.contains(&format!("`{key}`")),
            "`{key}` is not in README.md"
        );
        count += 1;
    }
    assert!(count > 20, "only {count} keys were found");
}

#[test]
fn links_in_the_pages_lead_somewhere() {
    for page in ["README.md", "DEVELOPERS.md"] {
        for target in read(page)
            .split("](")
            .skip(1)
            .filter_map(|rest| rest.split(')').next())
        {
            let there = target.starts_with("http") || files::root().join(target).exists();
            assert!(there, "{page} links to {target}");
        }
    }
}
