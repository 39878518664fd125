// Which clips count in answers, in SQL: the beginning of a WITH.
#pragma once

namespace nocktrail::logbook {

// counted_clips (id): of each content one clip, however many folders hold a copy: one that is still
// there before one that is gone, then the one recorded first. None of a forgotten session, none
// that is forgotten itself. A clip whose file could not be read has no content and counts alone.
// forgotten_shots (content, number): single shots.
inline constexpr const char* kCounted = R"sql(
WITH forgotten_contents AS (
  SELECT sha256 FROM clips WHERE forgotten_at IS NOT NULL AND sha256 IS NOT NULL
), forgotten_shots AS (
  SELECT coalesce(sha256, clips.id) AS content, number
  FROM shots JOIN clips ON clips.id = clip_id WHERE shots.forgotten_at IS NOT NULL
), ranked_clips AS (
  SELECT clips.id AS id, row_number() OVER (
    PARTITION BY coalesce(sha256, clips.id) ORDER BY present DESC, clips.id) AS place
  FROM clips JOIN sessions ON sessions.id = session_id
  WHERE clips.forgotten_at IS NULL AND sessions.forgotten_at IS NULL
    AND (sha256 IS NULL OR sha256 NOT IN (SELECT sha256 FROM forgotten_contents))
), counted_clips AS (
  SELECT id FROM ranked_clips WHERE place = 1
))sql";

}  // namespace nocktrail::logbook
