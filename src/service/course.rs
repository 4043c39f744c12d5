//! Setting the season going, pausing it, and going on.

use super::office::{Office, OfficeFault};
use super::ports::{Course, Gateway, Hand, Store};

impl<S: Store, G: Gateway> Office<S, G> {
    /// Whether planned messages may leave.
    pub async fn course(&self) -> Result<Course, OfficeFault> {
        let season = self.desk().await?.season;
        Ok(self.store.course(season).await?)
    }

    /// Lets planned messages leave, for the first time or again; false if they might already.
    pub async fn set_going(&self, by: Hand) -> Result<bool, OfficeFault> {
        // Notices that newer ones have overtaken meanwhile are withdrawn first: what is caught up with is one message.
        self.plan_tick().await?;
        let season = self.desk().await?.season;
        Ok(self.store.set_course(season, true, by, self.now()).await?)
    }

    /// Lets nothing planned leave until it is set going again; false if nothing might.
    pub async fn pause(&self, by: Hand) -> Result<bool, OfficeFault> {
        let season = self.desk().await?.season;
        Ok(self.store.set_course(season, false, by, self.now()).await?)
    }
}
