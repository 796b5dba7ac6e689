//! TEMP
use super::args::Common;
use super::door::{Door, daemon_listens};
use super::error::CliError;
use super::place::Place;
/// TEMP
pub struct Local {
    router: axum::Router,
}
impl Local {
    /// TEMP
    pub fn router(&self) -> axum::Router {
        self.router.clone()
    }
    /// TEMP
    pub fn close(self) -> Result<(), CliError> {
        Ok(())
    }
}
/// TEMP
pub async fn open_door(common: &Common) -> Result<Door, CliError> {
    let place = Place::find(common)?;
    if daemon_listens(&place.socket).await? {
        return Ok(Door::Socket(place.socket));
    }
    Ok(Door::InProcess(Box::new(Local {
        router: axum::Router::new(),
    })))
}
/// TEMP
pub async fn open_door_read_only(common: &Common) -> Result<Door, CliError> {
    open_door(common).await
}
