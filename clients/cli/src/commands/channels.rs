//! `goodwire channels`

mod scan;
mod survey;

use std::{io::Write, path::PathBuf};

use anyhow::bail;
use clap::Args;
use goodwire_proto::v1::{
    DrawChannelPlanRequest, Link, ListLinksRequest, MeasureRequest, Measurement, RadioSurvey,
};
use survey::Form;
use uuid::Uuid;

use super::measure;
use crate::{
    connect::{Connection, quick},
    exit::Exit,
    failure::Refusal,
    files, json, output,
    session::Session,
    show::measurement as view,
    values::{self, Setting},
    watch::{self, Followed},
};

/// What is asked of the daemon.
const ANALYSIS: &str = "channels";
/// Most links of a rig that are asked for at once.
const PAGE_SIZE: i32 = 1000;

/// What to plan for, and what is in the air.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  goodwire channels
  goodwire channels lectern --links 6 --out plan.svg
  goodwire channels --survey tonight.txt --keep
  goodwire channels --scan wlan0

Plans all links that share a channel table: the rows that you typed from the manual as
[[channel_table]] in the configuration. It plays nothing. A survey has a line for each transmission:
  6 20            Wi-Fi channel 6, 20 MHz wide; a name may follow
  36 80 office    Wi-Fi channel 36, 80 MHz wide
  802.15.4 15     channel 15 of IEEE 802.15.4
  bluetooth       all of its band
  band 470 478    anything else, in MHz
or is the comma-separated table of a spectrum analyser, or what `iw dev wlan0 scan` prints.

What may be used where, by whom and how strong is the law of the place, and it changes: ask the local
regulator, and keep to the maker's settings for your region. Nothing outside of your own table is
ever suggested. A channel that is clear of all that is known may still be in use: listen first.")]
pub struct Channels {
    /// Any link with the table; may be left out where all links share one
    link: Option<String>,
    /// Plan for so many links altogether, 1 to 64: more than there are means further ones
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=64))]
    links: Option<u8>,
    /// Links that are set to a channel stay there: plan the others round them
    #[arg(long)]
    keep: bool,
    /// What is in the air; when the file was last changed says how old it is
    #[arg(long, value_name = "FILE", conflicts_with = "scan")]
    survey: Option<PathBuf>,
    /// How the survey is written; else that is found out
    #[arg(long, requires = "survey")]
    form: Option<Form>,
    /// Look what is in the air now: runs `iw dev INTERFACE scan`, which wants root
    #[arg(long, value_name = "INTERFACE")]
    scan: Option<String>,
    /// Set a parameter of `channels`; may be given several times
    #[arg(long, value_name = "NAME=VALUE")]
    set: Vec<Setting>,
    /// Write the picture of the plan to a file
    #[arg(long, value_name = "FILE.svg")]
    out: Option<PathBuf>,
}

/// Plans channels, and prints which link is to be set to which.
///
/// # Errors
/// Where it is refused, a survey cannot be had, or the server stays away.
pub async fn run(session: &Session, arguments: Channels) -> anyhow::Result<Exit> {
    let parameters = values::parameters(&settings(&arguments))?;
    let survey = survey_of(&arguments).await?;
    let server = session.connect().await?;
    let request = MeasureRequest {
        links: vec![link(&server, arguments.link).await?],
        analysis: ANALYSIS.into(),
        parameters,
        survey,
        request_id: Uuid::now_v7().to_string(),
        ..MeasureRequest::default()
    };
    let started = measure::ask(&server, request).await?;
    let Followed {
        measurements,
        signal,
    } = watch::follow_all(session, &server, &started).await?;
    for measurement in &measurements {
        print(session, measurement)?;
        if let Some(out) = arguments.out.as_ref().filter(|_| has_plan(measurement)) {
            let svg = draw(&server, &measurement.name).await?;
            files::write_whole(out, |file| Ok(file.write_all(&svg)?))?;
            output::say(&format!("the picture is in {}", out.display()));
        }
    }
    Ok(signal.unwrap_or_else(|| Exit::worst(&measurements)))
}

fn has_plan(measurement: &Measurement) -> bool {
    measurement.channel_plan.is_some()
}

fn settings(arguments: &Channels) -> Vec<Setting> {
    let mut settings = arguments.set.clone();
    if let Some(count) = arguments.links {
        settings.push(Setting::new("link_count", &count.to_string()));
    }
    if arguments.keep {
        settings.push(Setting::new("keep", "true"));
    }
    settings
}

async fn survey_of(arguments: &Channels) -> anyhow::Result<Option<RadioSurvey>> {
    match (&arguments.survey, &arguments.scan) {
        (Some(file), _) => survey::read(file, arguments.form).map(Some),
        (None, Some(interface)) => scan::run(interface).await.map(Some),
        (None, None) => Ok(None),
    }
}

/// The link that was asked for, else the first of the only table.
async fn link(server: &Connection, asked: Option<String>) -> anyhow::Result<String> {
    if let Some(link) = asked {
        return match values::links(&link)?.as_slice() {
            [only] if only != "all" => Ok(only.clone()),
            _ => bail!("a plan is of one table: name one link that has it"),
        };
    }
    let request = ListLinksRequest {
        page_size: PAGE_SIZE,
        ..ListLinksRequest::default()
    };
    let answer = server.rig().list_links(quick(request)).await;
    first_of_only_table(&answer.map_err(Refusal)?.into_inner().links)
}

fn first_of_only_table(links: &[Link]) -> anyhow::Result<String> {
    let mut tables: Vec<(&str, Vec<&str>)> = Vec::new();
    for link in links.iter().filter(|link| !link.channel_table.is_empty()) {
        let name = link.name.trim_start_matches("links/");
        match tables
            .iter_mut()
            .find(|(table, _)| *table == link.channel_table)
        {
            Some((_, of_table)) => of_table.push(name),
            None => tables.push((&link.channel_table, vec![name])),
        }
    }
    match tables.as_slice() {
        [(_, of_table)] => Ok(of_table[0].to_owned()),
        [] => bail!(
            "no link has a channel table: type the channels of its manual into the configuration \
             as [[channel_table]], and name it in the [[link]] with channel_table = \"…\""
        ),
        several => {
            let told = several
                .iter()
                .map(|(table, of_table)| format!("\n  {table}: {}", of_table.join(", ")));
            let told: String = told.collect();
            bail!(
                "there are {} channel tables: name a link of the one you mean{told}",
                several.len()
            )
        }
    }
}

/// The picture of a measurement's plan.
async fn draw(server: &Connection, name: &str) -> anyhow::Result<Vec<u8>> {
    let request = quick(DrawChannelPlanRequest { name: name.into() });
    let answer = server.reports().draw_channel_plan(request).await;
    Ok(answer.map_err(Refusal)?.into_inner().svg)
}

fn print(session: &Session, measurement: &Measurement) -> anyhow::Result<()> {
    session.print(
        || json::message(measurement),
        |look| view::render(look, measurement),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn link(name: &str, table: &str) -> Link {
        Link {
            name: format!("links/{name}"),
            channel_table: table.into(),
            ..Link::default()
        }
    }

    #[test]
    fn the_first_link_of_the_only_table_stands_for_it() {
        let links = [
            link("cable", ""),
            link("lectern", "belt"),
            link("choir", "belt"),
        ];
        assert_eq!(first_of_only_table(&links).unwrap(), "lectern");
    }

    #[test]
    fn of_two_tables_a_link_has_to_be_named_and_all_are_told() {
        let links = [
            link("lectern", "belt"),
            link("ears", "in-ear"),
            link("choir", "belt"),
        ];
        let error = first_of_only_table(&links).unwrap_err().to_string();
        assert_eq!(
            error,
            "there are 2 channel tables: name a link of the one you mean\n  \
             belt: lectern, choir\n  in-ear: ears"
        );
        let none = first_of_only_table(&[link("cable", "")]).unwrap_err();
        assert!(none.to_string().contains("[[channel_table]]"), "{none}");
    }
}
