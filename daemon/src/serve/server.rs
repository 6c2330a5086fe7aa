//! Puts the services behind the listeners, with health and reflection, and ends them in time.

use std::time::Duration;

use goodwire_proto::{
    DESCRIPTORS,
    v1::{
        analysis_service_server::AnalysisServiceServer,
        judgement_service_server::JudgementServiceServer, level_service_server::LevelServiceServer,
        measurement_service_server::MeasurementServiceServer,
        report_service_server::ReportServiceServer, rig_service_server::RigServiceServer,
        round_service_server::RoundServiceServer, watch_service_server::WatchServiceServer,
        wiring_service_server::WiringServiceServer,
    },
};
use tokio::{net, task::JoinSet};
use tokio_stream::wrappers::{TcpListenerStream, UnixListenerStream};
use tonic::{
    server::NamedService,
    service::Routes,
    transport::{Server, server::Router},
};
use tonic_health::{ServingStatus, server::HealthReporter};

use super::{Listener, Services};
use crate::{audio::engine::EngineStatus, plugins::Registry};

/// Largest message that is taken in: a survey, or an upload's chunk, with some room.
const MESSAGE_BYTES_MAX: usize = 5 << 20;
/// Pings on idle connections, so that dead ones are noticed.
const KEEP_ALIVE: Duration = Duration::from_secs(30);
/// How long a ping may take.
const KEEP_ALIVE_TIMEOUT: Duration = Duration::from_secs(20);
/// Calls at once on one connection.
const STREAMS_MAX: u32 = 200;
/// How often the health of the subsystems is looked at.
const HEALTH_EVERY: Duration = Duration::from_millis(200);
/// How long open calls may take to end after the daemon is told to.
const GRACE: Duration = Duration::from_secs(2);

/// Serves until the daemon ends; open calls then have 2 s. Calls `ready` once every listener is
/// served and the health of every subsystem is known.
///
/// # Errors
/// Where a listener cannot be used, or reflection cannot be built.
pub async fn serve(
    services: Services,
    listeners: Vec<Listener>,
    ready: impl FnOnce(),
) -> anyhow::Result<()> {
    let (health, health_service) = tonic_health::server::health_reporter();
    let reflection = tonic_reflection::server::Builder::configure()
        .register_encoded_file_descriptor_set(DESCRIPTORS)
        .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET);
    let old_reflection = tonic_reflection::server::Builder::configure()
        .register_encoded_file_descriptor_set(DESCRIPTORS)
        .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET);
    let routes = Routes::new(RigServiceServer::new(services.clone()))
        .add_service(AnalysisServiceServer::new(services.clone()))
        .add_service(JudgementServiceServer::new(services.clone()))
        .add_service(RoundServiceServer::new(services.clone()))
        .add_service(ReportServiceServer::new(services.clone()))
        .add_service(LevelServiceServer::new(services.clone()))
        .add_service(WatchServiceServer::new(services.clone()))
        .add_service(WiringServiceServer::new(services.clone()))
        .add_service(
            MeasurementServiceServer::new(services.clone())
                .max_decoding_message_size(MESSAGE_BYTES_MAX),
        )
        .add_service(health_service)
        .add_service(reflection.build_v1()?)
        .add_service(old_reflection.build_v1alpha()?);
    tell_health(&health, &services).await;
    tokio::spawn(watch_health(health, services.clone()));
    let ending = services.ending.clone();
    let mut servers = JoinSet::new();
    for listener in listeners {
        servers.spawn(serve_one(router(routes.clone()), listener, ending.clone()));
    }
    ready();
    ending.cancelled().await;
    let _ = tokio::time::timeout(GRACE, async {
        while servers.join_next().await.is_some() {}
    })
    .await;
    servers.abort_all();
    Ok(())
}

fn router(routes: Routes) -> Router {
    Server::builder()
        .http2_keepalive_interval(Some(KEEP_ALIVE))
        .http2_keepalive_timeout(Some(KEEP_ALIVE_TIMEOUT))
        .max_concurrent_streams(STREAMS_MAX)
        .add_routes(routes)
}

async fn serve_one(
    router: Router,
    listener: Listener,
    ending: tokio_util::sync::CancellationToken,
) -> anyhow::Result<()> {
    let ended = ending.cancelled_owned();
    match &listener {
        Listener::Unix(socket, _) => {
            let socket = net::UnixListener::from_std(socket.try_clone()?)?;
            router
                .serve_with_incoming_shutdown(UnixListenerStream::new(socket), ended)
                .await?;
        }
        Listener::Tcp(socket, _) => {
            let socket = net::TcpListener::from_std(socket.try_clone()?)?;
            router
                .serve_with_incoming_shutdown(TcpListenerStream::new(socket), ended)
                .await?;
        }
    }
    drop(listener);
    Ok(())
}

/// Keeps the health of process and subsystems as it is.
async fn watch_health(reporter: HealthReporter, services: Services) {
    let mut interval = tokio::time::interval(HEALTH_EVERY);
    interval.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    loop {
        tell_health(&reporter, &services).await;
        if services
            .ending
            .run_until_cancelled(interval.tick())
            .await
            .is_none()
        {
            end_health(reporter).await;
            return;
        }
    }
}

/// Says that nothing is served any more, and ends the streams of those who watch: they would hold
/// the daemon's end up.
async fn end_health(mut reporter: HealthReporter) {
    for name in ["", "audio", "store", "plugins"]
        .iter()
        .chain(&SERVICE_NAMES)
    {
        reporter
            .set_service_status(name, ServingStatus::NotServing)
            .await;
        reporter.clear_service_status(name).await;
    }
}

async fn tell_health(reporter: &HealthReporter, services: &Services) {
    let audio = audio_health(&services.engine.status());
    let store = status(services.desk.store.is_healthy());
    let plugins = plugin_health(&services.desk.registry);
    for (name, health) in [("audio", audio), ("store", store), ("plugins", plugins)] {
        reporter.set_service_status(name, health).await;
    }
    for name in SERVICE_NAMES {
        reporter
            .set_service_status(name, ServingStatus::Serving)
            .await;
    }
}

/// Every service of ours, by its name in the API.
const SERVICE_NAMES: [&str; 9] = [
    RigServiceServer::<Services>::NAME,
    AnalysisServiceServer::<Services>::NAME,
    MeasurementServiceServer::<Services>::NAME,
    JudgementServiceServer::<Services>::NAME,
    RoundServiceServer::<Services>::NAME,
    ReportServiceServer::<Services>::NAME,
    LevelServiceServer::<Services>::NAME,
    WatchServiceServer::<Services>::NAME,
    WiringServiceServer::<Services>::NAME,
];

fn status(healthy: bool) -> ServingStatus {
    if healthy {
        ServingStatus::Serving
    } else {
        ServingStatus::NotServing
    }
}

fn audio_health(engine: &EngineStatus) -> ServingStatus {
    status(engine.shape.is_some())
}

fn plugin_health(registry: &Registry) -> ServingStatus {
    status(!registry.analyses().is_empty())
}
