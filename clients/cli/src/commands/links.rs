//! `goodwire links`

use clap::Subcommand;
use goodwire_proto::v1::{ExcuseLinkRequest, Link, ListLinksRequest};

use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    json,
    session::Session,
    show::{links as view, time},
    values::Until,
};

/// What to do with a link.
#[derive(Debug, Subcommand)]
pub enum Links {
    /// A link is away, for repair say: rounds leave it out until then
    #[command(after_help = "\
Examples:
  goodwire links excuse lectern --until 14d --reason \"at the workshop\"
  goodwire links excuse lectern --back")]
    Excuse {
        /// The link
        link: String,
        /// Until when: a time, or from now on as 8h, 14d
        #[arg(long, value_name = "TIME", required_unless_present = "back")]
        until: Option<Until>,
        /// Why
        #[arg(long, value_name = "TEXT", default_value = "")]
        reason: String,
        /// It is back: rounds check it again
        #[arg(long, conflicts_with_all = ["until", "reason"])]
        back: bool,
    },
}

/// Prints the rig's links with their last verdict.
///
/// # Errors
/// Where nobody answers.
pub async fn run(session: &Session, action: Option<Links>) -> anyhow::Result<Exit> {
    let server = session.connect().await?;
    if let Some(action) = action {
        return excuse(session, &server, action).await;
    }
    let links = all(&server).await?;
    session.print(
        || json::list("links", &links),
        |look| view::render(look, &links),
    )?;
    Ok(Exit::Pass)
}

async fn excuse(session: &Session, server: &Connection, action: Links) -> anyhow::Result<Exit> {
    let Links::Excuse {
        link: name,
        until,
        reason: text,
        back: _,
    } = action;
    let request = ExcuseLinkRequest {
        name,
        until_time: until.map(|until| until.0),
        text,
    };
    let link = server.rig().excuse_link(quick(request)).await;
    let link = link.map_err(Refusal)?.into_inner();
    session.print(
        || json::message(&link),
        |_| match &link.excuse {
            Some(excuse) => {
                let until = time::full(excuse.until_time.as_ref());
                format!("{} is left out of rounds until {until}\n", link.name)
            }
            None => format!("{} is checked in rounds\n", link.name),
        },
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
