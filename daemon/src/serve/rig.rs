//! The rig service: state, devices, links, calibration, and whether sound may be played.

use std::{
    sync::Arc,
    time::{Duration, Instant},
};

use goodwire_proto::v1::{
    CalibrateRequest, Calibration, Device, ExcuseLinkRequest, GetLinkRequest, GetStatusRequest,
    HoldRequest, HoldResponse, HoldState, Link, LinkCheck, ListDevicesRequest, ListDevicesResponse,
    ListLinksRequest, ListLinksResponse, PermitRequest, PermitState, ReleaseRequest,
    ReleaseResponse, Status as DaemonStatus, StopRequest, StopResponse, WithdrawPermitRequest,
    WithdrawPermitResponse, calibration::Side, note::Level, rig_service_server::RigService,
    verdict::Outcome,
};
use prost_types::Timestamp;
use tonic::{Request, Response, Status};

use super::{Services, blocking, pages};
use crate::{
    audio::{devices, engine::Engine},
    config::LinkConfig,
    measure::{
        complete::{Desk, note},
        job::{Ending, bare},
    },
    refusal::{Refusal, Violation},
    safety, status,
    store::Permit,
};

/// How long a silencing waits for the port to confirm it.
const SILENCE_WAIT: Duration = Duration::from_millis(250);
/// How often the port is asked.
const SILENCE_POLL: Duration = Duration::from_millis(1);
/// Highest voltage that a calibration may claim.
const VOLTS_MAX: f64 = 1000.0;

#[tonic::async_trait]
impl RigService for Services {
    async fn get_status(
        &self,
        _: Request<GetStatusRequest>,
    ) -> Result<Response<DaemonStatus>, Status> {
        let (desk, engine) = (Arc::clone(&self.desk), Arc::clone(&self.engine));
        let status = blocking(move || Ok(status::of(&desk, &engine.status())?));
        Ok(Response::new(status.await?))
    }

    async fn list_devices(
        &self,
        request: Request<ListDevicesRequest>,
    ) -> Result<Response<ListDevicesResponse>, Status> {
        let all = request.into_inner().include_virtual;
        let response = blocking(move || Ok(device_list(all)));
        Ok(Response::new(response.await?))
    }

    async fn list_links(
        &self,
        request: Request<ListLinksRequest>,
    ) -> Result<Response<ListLinksResponse>, Status> {
        let request = request.into_inner();
        let desk = Arc::clone(&self.desk);
        let response = blocking(move || {
            let all = desk.config.links.clone();
            let (page, next_page_token) = pages::cut(all, request.page_size, &request.page_token)?;
            let links = page
                .iter()
                .map(|one| link(&desk, one))
                .collect::<Result<_, _>>()?;
            Ok(ListLinksResponse {
                links,
                next_page_token,
            })
        });
        Ok(Response::new(response.await?))
    }

    async fn get_link(&self, request: Request<GetLinkRequest>) -> Result<Response<Link>, Status> {
        let name = request.into_inner().name;
        let desk = Arc::clone(&self.desk);
        let response = blocking(move || {
            let name = bare(&name);
            match desk.config.links.iter().find(|link| link.name == name) {
                Some(one) => link(&desk, one),
                None => Err(Refusal::NotFound(desk.unknown_link(name))),
            }
        });
        Ok(Response::new(response.await?))
    }

    async fn calibrate(
        &self,
        request: Request<CalibrateRequest>,
    ) -> Result<Response<Calibration>, Status> {
        let request = request.into_inner();
        let desk = Arc::clone(&self.desk);
        Ok(Response::new(
            blocking(move || calibrate(&desk, &request)).await?,
        ))
    }

    async fn hold(&self, request: Request<HoldRequest>) -> Result<Response<HoldResponse>, Status> {
        let text = request.into_inner().text;
        let desk = Arc::clone(&self.desk);
        let hold = blocking(move || Ok(desk.store.set_hold(&text)?)).await?;
        let text = safety::hold_text(&hold.text);
        let begin = Instant::now();
        let ended = (self.desk.queue).end_sounding(&Ending::failed("hold", text));
        let (ended, _) = self.silence(ended, begin).await;
        let ended_count = i32::try_from(ended).unwrap_or(i32::MAX);
        let hold = HoldState {
            text: hold.text,
            create_time: hold.create_time,
        };
        Ok(Response::new(HoldResponse {
            hold: Some(hold),
            ended_count,
        }))
    }

    async fn release(
        &self,
        _: Request<ReleaseRequest>,
    ) -> Result<Response<ReleaseResponse>, Status> {
        let desk = Arc::clone(&self.desk);
        let was_held = blocking(move || Ok(desk.store.release()?)).await?;
        Ok(Response::new(ReleaseResponse { was_held }))
    }

    async fn permit(
        &self,
        request: Request<PermitRequest>,
    ) -> Result<Response<PermitState>, Status> {
        let request = request.into_inner();
        let desk = Arc::clone(&self.desk);
        Ok(Response::new(
            blocking(move || permit(&desk, request)).await?,
        ))
    }

    async fn withdraw_permit(
        &self,
        _: Request<WithdrawPermitRequest>,
    ) -> Result<Response<WithdrawPermitResponse>, Status> {
        let desk = Arc::clone(&self.desk);
        let was_permitted = blocking(move || Ok(desk.store.withdraw_permit()?)).await?;
        Ok(Response::new(WithdrawPermitResponse { was_permitted }))
    }

    async fn excuse_link(
        &self,
        request: Request<ExcuseLinkRequest>,
    ) -> Result<Response<Link>, Status> {
        let request = request.into_inner();
        let desk = Arc::clone(&self.desk);
        Ok(Response::new(
            blocking(move || excuse(&desk, &request)).await?,
        ))
    }

    async fn stop(&self, _: Request<StopRequest>) -> Result<Response<StopResponse>, Status> {
        let ending = Ending::Cancelled("stopped by a client".into());
        let begin = Instant::now();
        let ended = self.desk.queue.end_all(&ending);
        let (cancelled, silent_after_ms) = self.silence(ended, begin).await;
        let cancelled_count = i32::try_from(cancelled).unwrap_or(i32::MAX);
        Ok(Response::new(StopResponse {
            cancelled_count,
            silent_after_ms,
        }))
    }
}

impl Services {
    /// Silences the back end's port without waiting for the engine, after so many measurements
    /// were `ended`. Gives their number and the milliseconds since `begin` until it was silent.
    async fn silence(&self, ended: usize, begin: Instant) -> (usize, f64) {
        if ended > 0 {
            silence_port(&self.engine, begin).await;
        }
        let silent_after_ms = begin.elapsed().as_secs_f64() * 1e3;
        // The disk may take its time: only now, when all is silent.
        let desk = Arc::clone(&self.desk);
        if let Err(error) = tokio::task::spawn_blocking(move || desk.settle_withdrawn()).await {
            tracing::error!(%error, "what was ended while it waited is not settled");
        }
        (ended, silent_after_ms)
    }
}

async fn silence_port(engine: &Engine, begin: Instant) {
    let Some(mute) = engine.mute() else { return };
    mute.set(true);
    while !mute.is_silent() && begin.elapsed() < SILENCE_WAIT {
        tokio::time::sleep(SILENCE_POLL).await;
    }
}

fn device_list(all: bool) -> ListDevicesResponse {
    let found = devices::list(all);
    let device = |one: devices::DeviceInfo| Device {
        backend: one.backend.into(),
        id: one.id,
        title: one.title,
        send_count: one.send_count.and_then(|count| i32::try_from(count).ok()),
        return_count: one.return_count.and_then(|count| i32::try_from(count).ok()),
        transparent: one.transparent,
        text: one.text,
    };
    let trouble = |(backend, text): (&str, String)| {
        note(Level::Info, "back-end-silent", format!("{backend}: {text}"))
    };
    ListDevicesResponse {
        devices: found.devices.into_iter().map(device).collect(),
        notes: found.troubles.into_iter().map(trouble).collect(),
    }
}

fn link(desk: &Desk, config: &LinkConfig) -> Result<Link, Refusal> {
    let number = |channel: usize| i32::try_from(channel).unwrap_or(i32::MAX);
    let checks: Vec<LinkCheck> = desk.store.last_checks(&config.name)?;
    let worst = checks
        .iter()
        .map(LinkCheck::outcome)
        .max_by_key(|outcome| gravity(*outcome));
    let simulated = desk.config.interface.backend.is_simulated();
    let matched = desk.match_of(config)?;
    Ok(Link {
        name: format!("links/{}", config.name),
        send: number(config.send),
        r#return: number(config.r#return),
        pad_db: config.pad_db,
        max_send_dbfs: desk.config.send_ceiling_dbfs(config.send),
        setup: config.setup.clone().into_iter().collect(),
        outcome: worst.unwrap_or_default() as i32,
        checks,
        r#match: matched.map(|one| one.name).unwrap_or_default(),
        gain_db: safety::last_gain_db(&desk.store, &config.name, simulated),
        excuse: desk
            .store
            .excuses(&desk.clock.timestamp())?
            .into_iter()
            .find(|excuse| bare(&excuse.link) == config.name),
        clip_point_dbfs: safety::last_clip_point_dbfs(&desk.store, &config.name, simulated),
        group: config.group.clone().unwrap_or_default(),
        channel_table: config.channel_table.clone().unwrap_or_default(),
    })
}

/// How bad an outcome is: FAIL over UNMEASURED over DRIFT over PASS over nothing said.
fn gravity(outcome: Outcome) -> u8 {
    match outcome {
        Outcome::Unspecified => 0,
        Outcome::Pass => 1,
        Outcome::Drift => 2,
        Outcome::Unmeasured => 3,
        Outcome::Fail => 4,
    }
}

/// Keeps a permit and gives it as it counts.
fn permit(desk: &Desk, request: PermitRequest) -> Result<PermitState, Refusal> {
    let now = desk.clock.timestamp();
    if let Some(until) = &request.until_time {
        in_the_future(until, &now)?;
    }
    let given = Permit {
        text: request.text,
        create_time: now,
        until_time: request.until_time,
    };
    desk.store.set_permit(&given)?;
    let counting = safety::permit_now(&desk.store, &desk.config.safety, &*desk.clock)?;
    // Where no permit is needed it is kept all the same, for a configuration that will need it.
    Ok(counting.unwrap_or(PermitState {
        text: given.text,
        create_time: Some(given.create_time),
        until_time: given.until_time,
    }))
}

fn excuse(desk: &Desk, request: &ExcuseLinkRequest) -> Result<Link, Refusal> {
    let name = bare(&request.name);
    let Some(config) = desk.config.link(name) else {
        return Err(Refusal::NotFound(desk.unknown_link(name)));
    };
    match &request.until_time {
        Some(until) => {
            in_the_future(until, &desk.clock.timestamp())?;
            desk.store.set_excuse(name, until, &request.text)?;
        }
        None => {
            desk.store.clear_excuse(name)?;
        }
    }
    link(desk, config)
}

fn in_the_future(until: &Timestamp, now: &Timestamp) -> Result<(), Refusal> {
    if (until.seconds, until.nanos) > (now.seconds, now.nanos) {
        return Ok(());
    }
    Err(Refusal::field(
        "until_time",
        format!("has to be after now: it is {until}, and now {now}"),
    ))
}

fn calibrate(desk: &Desk, request: &CalibrateRequest) -> Result<Calibration, Refusal> {
    let interface = &desk.config.interface;
    let mut wrong = Vec::new();
    let count = match request.side() {
        Side::Send => interface.send_count,
        Side::Return => interface.return_count,
        Side::Unspecified => {
            wrong.push(Violation::new("side", "has to be SEND or RETURN"));
            usize::MAX
        }
    };
    let channel = usize::try_from(request.channel).unwrap_or(0);
    if channel == 0 || channel > count {
        let text = format!("{} is outside 1 to {count}", request.channel);
        wrong.push(Violation::new("channel", text));
    }
    if !(request.volts > 0.0 && request.volts <= VOLTS_MAX) {
        let text = format!(
            "{} V is not above 0 and at most {VOLTS_MAX} V",
            request.volts
        );
        wrong.push(Violation::new("volts", text));
    }
    if !wrong.is_empty() {
        return Err(Refusal::Invalid(wrong));
    }
    let calibration = Calibration {
        side: request.side,
        channel: request.channel,
        volts: request.volts,
        create_time: Some(desk.clock.timestamp()),
    };
    desk.store.set_calibration(&calibration)?;
    Ok(calibration)
}
