//! The plugin that README.md shows, built, loaded and run.

use goodwire_proto::v1::{ListAnalysesRequest, measurement::State};
use goodwire_tests::{
    binary,
    client::{figure, value},
    daemon::Start,
    rig::CELLAR,
};
use tempfile::TempDir;

#[tokio::test]
async fn the_plugin_of_the_read_me_is_found_and_says_0_percent_of_offset() {
    let folder = TempDir::new().unwrap();
    let library = "libgoodwire_plugin_offset.so";
    std::fs::copy(
        binary("examples").join(library),
        folder.path().join(library),
    )
    .unwrap();
    let plugins = folder.path().to_str().unwrap();
    let daemon = Start::new()
        .argument("--plugins")
        .argument(plugins)
        .run(CELLAR);
    let mut client = daemon.connect().await;
    let listed = client
        .analyses
        .list_analyses(ListAnalysesRequest {})
        .await
        .unwrap()
        .into_inner();
    let ids: Vec<_> = listed.analyses.iter().map(|a| a.name.as_str()).collect();
    assert_eq!(ids, ["analyses/offset"]);
    assert!(!listed.analyses[0].plays);
    let found = client.measure("lectern", "offset", &[]).await;
    assert_eq!(found.state(), State::Succeeded, "{:?}", found.reason);
    assert!(
        value(&found, "offset").abs() < 0.001,
        "{} %",
        value(&found, "offset")
    );
    assert_eq!(figure(&found, "offset").unit, "%");
}
