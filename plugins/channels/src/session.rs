//! One plan: nothing is played or heard, all is in the result.

use goodwire_plugin_sdk::payload::{Plan, Radio, SessionResult};
use goodwire_plugin_sdk::{Block, Failure, Fed, Session};

use crate::air::Air;
use crate::chosen::Chosen;
use crate::scene::Scene;
use crate::settings::Settings;
use crate::{figures, notes, reach, told};

/// A session of `channels`.
pub struct ChannelsSession {
    /// What was set.
    pub settings: Settings,
    /// The table and the links.
    pub scene: Scene,
    /// What is in the air.
    pub air: Air,
    /// What the daemon knows.
    pub radio: Radio,
}

impl Session for ChannelsSession {
    fn plan(&mut self) -> Result<Plan, Failure> {
        Ok(Plan::default())
    }

    fn begin(&mut self, _step: u32, _repeat: u32, _retry: bool) -> Result<(), Failure> {
        Ok(())
    }

    fn feed(&mut self, _block: &Block<'_>) -> Result<Fed, Failure> {
        Ok(Fed::Enough)
    }

    fn finish(&mut self, _ended_early: bool) -> Result<SessionResult, Failure> {
        let chosen = Chosen::of(&self.scene, &self.air, &self.settings)?;
        let channel_plan = told::plan(&chosen, &self.air, &self.settings);
        let mut notes = notes::all(&chosen, &self.air, &self.settings, &channel_plan);
        let mut figures = figures::all(&chosen, &self.air, &self.settings);
        if let Some(budget) = &self.radio.budget {
            let (figure, told) =
                reach::of(&chosen, budget, self.radio.walked_metres, &self.settings);
            figures.extend(figure);
            notes.push(told);
        }
        Ok(SessionResult {
            figures,
            notes,
            channel_plan: Some(channel_plan),
            ..SessionResult::default()
        })
    }
}
