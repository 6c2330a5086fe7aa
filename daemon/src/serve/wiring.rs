//! The wiring service: what is plugged in where.

use std::sync::Arc;

use goodwire_proto::v1::{
    CheckWiringRequest, Wiring, WiringFault, WiringPair, wiring_service_server::WiringService,
};
use tokio::sync::oneshot;
use tonic::{Request, Response, Status};

use super::{Services, blocking, errors};
use crate::{
    measure::{
        job::{Ending, Fate},
        wiring::{self, Check, Found, Pair, Path},
    },
    refusal::Refusal,
};

/// Ends a check whose client has left.
struct Leaving(Arc<Fate>);

impl Drop for Leaving {
    fn drop(&mut self) {
        // One that is over has nothing left to end.
        self.0.end(Ending::Cancelled("its client left".into()));
    }
}

#[tonic::async_trait]
impl WiringService for Services {
    async fn check_wiring(
        &self,
        request: Request<CheckWiringRequest>,
    ) -> Result<Response<Wiring>, Status> {
        let present = request.into_inner().present;
        let desk = Arc::clone(&self.desk);
        blocking(move || desk.permit(present)).await?;
        let fate = Arc::new(Fate::default());
        let _leaving = Leaving(Arc::clone(&fate));
        let (answer, found) = oneshot::channel();
        let is_taken = self.desk.queue.push_check(Check {
            id: format!("wiring-{}", uuid::Uuid::now_v7()),
            is_attended: present,
            fate,
            answer,
        });
        if !is_taken {
            return Err(errors::status(&Refusal::Ending));
        }
        let found = tokio::select! {
            found = found => found.map_err(|_| errors::status(&Refusal::Ending))?,
            () = self.ending.cancelled() => return Err(errors::status(&Refusal::Ending)),
        };
        let found = found.map_err(|ending| refused(&ending))?;
        Ok(Response::new(message(
            &wiring::paths(&self.desk.config),
            &found,
        )))
    }
}

/// Why a check has no result.
fn refused(ending: &Ending) -> Status {
    match ending {
        Ending::Cancelled(text) => Status::cancelled(text),
        Ending::DaemonEnds => errors::status(&Refusal::Ending),
        Ending::Failed { id, text, .. } => Status::failed_precondition(format!("{id}: {text}")),
    }
}

fn message(paths: &[Path], found: &Found) -> Wiring {
    let fault = |fault: &wiring::Fault| WiringFault {
        id: fault.id.into(),
        text: fault.text.clone(),
    };
    Wiring {
        pairs: found
            .pairs
            .iter()
            .map(|one| pair(paths, found, one))
            .collect(),
        faults: found.faults.iter().map(fault).collect(),
        level_dbfs: found.level_dbfs,
        simulated: found.is_simulated,
    }
}

fn pair(paths: &[Path], found: &Found, pair: &Pair) -> WiringPair {
    let of = |path: &&Path| path.send == pair.send && path.r#return == pair.r#return;
    let name = paths.iter().find(of).map(|path| path.name.as_str());
    let number = |number: usize| i32::try_from(number).unwrap_or(i32::MAX);
    WiringPair {
        send: number(pair.send),
        r#return: number(pair.r#return),
        name: match name {
            Some("reference") => "reference".into(),
            Some(link) => format!("links/{link}"),
            None => String::new(),
        },
        heard: pair.heard.is_some(),
        gain_db: pair.heard.map(|heard| heard.gain_db),
        delay_ms: pair
            .heard
            .filter(|_| found.is_locked)
            .map(|heard| heard.delay_ms),
        inverted: pair.heard.is_some_and(|heard| heard.is_inverted),
        level_dbfs: pair.level_dbfs,
    }
}
