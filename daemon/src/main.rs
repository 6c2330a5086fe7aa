//! `goodwired`: reads its configuration, binds its listeners, and runs until it is told to end.

mod arguments;

use std::{process::ExitCode, sync::Arc};

use anyhow::Context;
use clap::Parser;
use goodwired::{
    clock::SystemClock,
    config::Config,
    page::PageListener,
    places,
    plugins::{Registry, host_beside_daemon},
    run::{Start, run},
    serve::Listener,
    store::Store,
    surroundings,
};
use tokio_util::sync::CancellationToken;

use arguments::Arguments;

/// Bad configuration and wrong usage end with this; 2 would mean that a link failed.
const EXIT_REFUSED: u8 = 3;

fn main() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            // Standard error may be closed; the exit code tells all the same.
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { EXIT_REFUSED } else { 0 });
        }
    };
    surroundings::start_tracing();
    match start(arguments) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("goodwired: {error:#}");
            ExitCode::from(EXIT_REFUSED)
        }
    }
}

fn start(arguments: Arguments) -> anyhow::Result<()> {
    let plugin_dirs = arguments
        .plugins
        .map_or_else(places::plugin_folders, |dir| vec![dir]);
    let host = host_beside_daemon().context("goodwire-plugin-host was not found")?;
    // Before the configuration, whose limits name figures that only the plugins know.
    let registry = Registry::scan(&plugin_dirs, &host);
    let config = Config::load(&arguments.config, &registry.analyses())?;
    let clock = Arc::new(SystemClock);
    let state_dir = arguments.state.unwrap_or_else(places::state_folder);
    let store = Store::open(&state_dir, clock.clone())?;
    let places = if arguments.listen.is_empty() {
        vec![format!("unix:{}", places::socket().display())]
    } else {
        arguments.listen
    };
    let listeners = Listener::bind_all(&places)?;
    let page = config.page_listen.as_deref().map(PageListener::bind);
    let page = page.transpose()?;
    let page_url = page.as_ref().map(PageListener::url);
    let urls: Vec<String> = listeners.iter().map(Listener::url).collect();
    let start = Start {
        config,
        store,
        registry,
        spool_dir: state_dir,
        listeners,
        page,
        clock,
    };
    let runtime = tokio::runtime::Runtime::new().context("no threads for the server")?;
    runtime.block_on(async {
        let ending = CancellationToken::new();
        surroundings::end_on_signals(ending.clone())?;
        run(start, ending, || {
            surroundings::announce(&urls, page_url.as_deref())
        })
        .await
    })?;
    runtime.shutdown_background();
    Ok(())
}
