use super::*;

const CONTRACT: &str = r#"
site = "lantern-cellar"
[interface]
backend = "simulated"
time = "virtual"
rate = 48000
[reference]
send = 2
return = 2
[[link]]
name = "lectern"
send = 1
return = 1
"#;

#[test]
fn the_least_configuration_gives_one_link_beside_its_reference() {
    let config = Config::parse(CONTRACT, "x.toml").unwrap();
    assert_eq!(config.interface.send_count, 2);
}
