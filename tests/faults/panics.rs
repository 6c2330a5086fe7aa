//! A plugin that panics where its parameter says: in every call of a plugin that can.

use goodwire_plugin_sdk::{
    Block, Failure, Fed, Kind, OpenError, Plugin, Session, Value, api, export_plugin, payload,
};

struct Panics;

/// The call that panics.
struct Run(String);

impl Run {
    fn reach(&self, call: &str) {
        assert!(self.0 != call, "a bug in {call}");
    }
}

/// Its destructor panics too, where it is asked to.
impl Drop for Run {
    fn drop(&mut self) {
        self.reach("close");
    }
}

impl Plugin for Panics {
    fn describe() -> payload::Description {
        let place = api::Parameter {
            id: "place".into(),
            kind: api::parameter::Kind::Choice.into(),
            text: "The call that panics.".into(),
            default_value: Some(Value::from("feed")),
            choices: [
                "open", "plan", "render", "begin", "feed", "note", "readings", "finish",
            ]
            .map(String::from)
            .into(),
            ..Default::default()
        };
        payload::Description {
            plugin: "panics".into(),
            version: "0.0.1".into(),
            analyses: vec![payload::AnalysisDescription {
                id: "panics".into(),
                title: "Panics".into(),
                summary: "Panics where its parameter says.".into(),
                parameters: vec![place],
                plays: true,
                ..Default::default()
            }],
        }
    }

    fn open(request: &payload::OpenRequest) -> Result<Box<dyn Session>, OpenError> {
        let parameters = request.parameters.clone().unwrap_or_default();
        let place = parameters
            .fields
            .get("place")
            .and_then(|value| value.kind.clone());
        let Some(Kind::StringValue(place)) = place else {
            return Err(Failure::new("bad-request", "place is missing").into());
        };
        let run = Run(place);
        run.reach("open");
        Ok(Box::new(run))
    }
}

impl Session for Run {
    fn plan(&mut self) -> Result<payload::Plan, Failure> {
        self.reach("plan");
        Ok(payload::Plan::default())
    }

    fn render(&mut self, _step: u32, _first: u64, _samples: &mut [f32]) -> Result<(), Failure> {
        self.reach("render");
        Ok(())
    }

    fn begin(&mut self, _step: u32, _repeat: u32, _retry: bool) -> Result<(), Failure> {
        self.reach("begin");
        Ok(())
    }

    fn feed(&mut self, _block: &Block<'_>) -> Result<Fed, Failure> {
        self.reach("feed");
        Ok(Fed::Enough)
    }

    fn note(&mut self, _note: &payload::SessionNote) -> Result<(), Failure> {
        self.reach("note");
        Ok(())
    }

    fn readings(&mut self) -> payload::Readings {
        self.reach("readings");
        payload::Readings::default()
    }

    fn finish(&mut self, _ended_early: bool) -> Result<payload::SessionResult, Failure> {
        self.reach("finish");
        Ok(payload::SessionResult::default())
    }
}

export_plugin!(Panics);
