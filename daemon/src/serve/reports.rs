//! The report service: pages of runs and measurements, streamed in pieces.

use std::{pin::Pin, sync::Arc};

use goodwire_proto::v1::{
    DrawChannelPlanRequest, DrawChannelPlanResponse, RenderReportRequest, RenderReportResponse,
    report_service_server::ReportService,
};
use tokio_stream::Stream;
use tonic::{Request, Response, Status};

use super::{Services, blocking};
use crate::{refusal::Refusal, report};

/// Largest piece of a page: well below what any client takes as one message.
const PIECE_BYTES: usize = 1 << 20;

#[tonic::async_trait]
impl ReportService for Services {
    type RenderReportStream =
        Pin<Box<dyn Stream<Item = Result<RenderReportResponse, Status>> + Send>>;

    async fn render_report(
        &self,
        request: Request<RenderReportRequest>,
    ) -> Result<Response<Self::RenderReportStream>, Status> {
        let names = request.into_inner().names;
        let desk = Arc::clone(&self.desk);
        let page = blocking(move || Ok(report::render(&report::gather(&desk, &names)?))).await?;
        Ok(Response::new(Box::pin(tokio_stream::iter(pieces(&page)))))
    }

    async fn draw_channel_plan(
        &self,
        request: Request<DrawChannelPlanRequest>,
    ) -> Result<Response<DrawChannelPlanResponse>, Status> {
        let name = request.into_inner().name;
        let desk = Arc::clone(&self.desk);
        let svg = blocking(move || {
            let measurement = desk.store.get(&name)?;
            report::draw_channel_plan(&measurement).ok_or_else(|| Refusal::Forbidden {
                reason: "NO_CHANNEL_PLAN",
                text: format!(
                    "{} holds no channel plan: measure `channels` on a link with a channel table",
                    measurement.name
                ),
            })
        });
        let svg = svg.await?.into_bytes();
        Ok(Response::new(DrawChannelPlanResponse { svg }))
    }
}

fn pieces(page: &str) -> Vec<Result<RenderReportResponse, Status>> {
    let pieces = page.as_bytes().chunks(PIECE_BYTES);
    pieces
        .map(|piece| {
            Ok(RenderReportResponse {
                html: piece.to_vec(),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_of_2_5_mib_comes_in_3_pieces_and_is_whole_again() {
        let page = "ü".repeat(5 << 18);
        let pieces: Vec<Vec<u8>> = pieces(&page)
            .into_iter()
            .map(|piece| piece.unwrap().html)
            .collect();
        assert_eq!(pieces.len(), 3);
        assert_eq!(pieces.concat(), page.as_bytes());
    }
}
