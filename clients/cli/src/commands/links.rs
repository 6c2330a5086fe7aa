//! `goodwire links`

use goodwire_proto::v1::{Link, ListLinksRequest};

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    json,
    session::Session,
    show::links as view,
};

/// Prints the rig's links with their last verdict.
///
/// # Errors
/// Where nobody answers.
pub async fn run(session: &Session) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    let links = all(&server).await?;
    session.print(
        || json::list("links", &links),
        |look| view::render(look, &links),
    )?;
    Ok(Exit::Pass)
}

/// All links of the rig, every page of them.
///
/// # Errors
/// Where the server refuses.
pub async fn all(connection: &Connection) -> Result<Vec<Link>, Refusal> {
    let mut links = Vec::new();
    let mut page_token = String::new();
    loop {
        let request = ListLinksRequest {
            page_size: 500,
            page_token,
        };
        let page = connection
            .rig()
            .list_links(quick(request))
            .await?
            .into_inner();
        links.extend(page.links);
        page_token = page.next_page_token;
        if page_token.is_empty() {
            return Ok(links);
        }
    }
}
