//! The level service: what every return hears just now.

use std::{pin::Pin, time::Duration};

use goodwire_proto::v1::{
    ReturnLevel, WatchLevelsRequest, WatchLevelsResponse, level_service_server::LevelService,
};
use tokio::sync::mpsc::{self, Sender};
use tokio_stream::{Stream, wrappers::ReceiverStream};
use tonic::{Request, Response, Status};

use super::Services;
use crate::{
    audio::meters::{Level, Watch},
    config::Config,
};

/// Levels are told no more often, also where virtual time runs fast.
const PAUSE: Duration = Duration::from_millis(100);
/// Levels that wait for a slow reader; more would only be older.
const WAITING: usize = 1;

#[tonic::async_trait]
impl LevelService for Services {
    type WatchLevelsStream =
        Pin<Box<dyn Stream<Item = Result<WatchLevelsResponse, Status>> + Send>>;

    async fn watch_levels(
        &self,
        _: Request<WatchLevelsRequest>,
    ) -> Result<Response<Self::WatchLevelsStream>, Status> {
        let (news, stream) = mpsc::channel(WAITING);
        let names = Names::of(&self.desk.config);
        let watch = self.engine.watch_levels();
        let ending = self.ending.clone();
        tokio::spawn(async move {
            tokio::select! {
                () = tell(watch, &names, &news) => {}
                () = news.closed() => {}
                () = ending.cancelled() => {
                    let _ = news.try_send(Err(Status::unavailable("the daemon is ending")));
                }
            }
        });
        Ok(Response::new(Box::pin(ReceiverStream::new(stream))))
    }
}

/// Tells the latest levels at once, then what is new, until nobody listens any more.
async fn tell(mut watch: Watch, names: &Names, news: &Sender<Result<WatchLevelsResponse, Status>>) {
    let latest = watch.latest.take();
    let mut levels = latest.map_or_else(Vec::new, |latest| latest.to_vec());
    loop {
        if news.send(Ok(names.response(&levels))).await.is_err() {
            return;
        }
        tokio::time::sleep(PAUSE).await;
        match watch.next().await {
            Some(next) => levels = next,
            None => return,
        }
    }
}

/// What is heard at each return of the configuration, by number from 1.
struct Names(Vec<(usize, String)>);

impl Names {
    fn of(config: &Config) -> Self {
        let links = config.links.iter();
        let links = links.map(|link| (link.r#return, format!("links/{}", link.name)));
        let reference = config.reference.iter();
        let reference = reference.map(|reference| (reference.r#return, "reference".to_owned()));
        let mut names: Vec<(usize, String)> = links.chain(reference).collect();
        names.sort();
        Self(names)
    }

    /// Every return that the configuration or the interface has.
    fn response(&self, levels: &[Level]) -> WatchLevelsResponse {
        let named = self.0.iter().map(|(number, _)| *number).max().unwrap_or(0);
        let returns = (1..=named.max(levels.len())).map(|number| {
            let level = levels.get(number - 1);
            let name = self.0.iter().find(|(one, _)| *one == number);
            ReturnLevel {
                r#return: i32::try_from(number).unwrap_or(i32::MAX),
                name: name.map(|(_, name)| name.clone()).unwrap_or_default(),
                peak_dbfs: level.map(Level::peak_dbfs),
                rms_dbfs: level.map(Level::rms_dbfs),
                clipped: level.is_some_and(Level::is_clipped),
            }
        });
        WatchLevelsResponse {
            returns: returns.collect(),
        }
    }
}
