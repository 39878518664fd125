PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
CREATE TABLE bows (
  id INTEGER PRIMARY KEY,
  name TEXT,
  draw_weight_n REAL,
  rated_draw_m REAL,
  brace_min_m REAL,
  brace_max_m REAL,
  min_grains_per_pound REAL
) STRICT;
INSERT INTO bows VALUES(1,'Heron',200.25,NULL,NULL,NULL,NULL);
CREATE TABLE arrows (
  id INTEGER PRIMARY KEY,
  name TEXT,
  spine_convention TEXT,
  spine REAL,
  groups TEXT,
  diameter_m REAL,
  mass_per_length_kg_per_m REAL,
  nock_mass_kg REAL
) STRICT;
INSERT INTO arrows VALUES(1,'cedar','wood-pounds',50.0,'deflection',NULL,NULL,NULL);
CREATE TABLE sessions (
  id INTEGER PRIMARY KEY,
  name TEXT,
  folder TEXT NOT NULL UNIQUE,
  recorded_at TEXT NOT NULL
) STRICT;
INSERT INTO sessions VALUES(1,'heron, may','/home/robin/tuning/heron-may','2026-11-25T10:45:41Z');
CREATE TABLE setups (
  id INTEGER PRIMARY KEY,
  session_id INTEGER NOT NULL REFERENCES sessions (id),
  name TEXT NOT NULL,
  position INTEGER,                -- in the order of shooting, from 1; NULL: no longer in the folder
  bow_id INTEGER NOT NULL REFERENCES bows (id),
  arrow_id INTEGER NOT NULL REFERENCES arrows (id),
  hand TEXT,
  cant_deg REAL,
  draw_m REAL,
  string TEXT,
  brace_height_m REAL,
  plate_offset_m REAL,
  nocking_point_m REAL,
  shaft_length_m REAL,
  arrow_length_m REAL,
  tip_mass_kg REAL,
  total_mass_kg REAL,
  fletching TEXT,
  focal_35mm REAL,
  capture_fps REAL,
  notes TEXT,
  UNIQUE (session_id, name)
) STRICT;
INSERT INTO setups VALUES(1,1,'1 nock high',1,1,1,'right',NULL,NULL,'14 strands',0.19000000000000000222,NULL,0.015875000000000000222,0.76200000000000001065,NULL,0.0080999999999999995614,NULL,'bare',NULL,NULL,NULL);
INSERT INTO setups VALUES(2,1,'2 nock down',2,1,1,'right',NULL,NULL,'14 strands',0.19000000000000000222,NULL,0.012699999999999999483,0.76200000000000001065,NULL,0.0080999999999999995614,NULL,'bare',NULL,NULL,'wind from the left');
CREATE TABLE clips (
  id INTEGER PRIMARY KEY,
  session_id INTEGER NOT NULL REFERENCES sessions (id),
  setup_id INTEGER NOT NULL REFERENCES setups (id),
  sha256 TEXT,                     -- NULL: the file could not be read
  file TEXT NOT NULL,
  filmed_at TEXT,
  present INTEGER NOT NULL CHECK (present IN (0, 1)),
  dropped TEXT,                    -- the archer's reason for leaving it out
  hand TEXT,
  cant_deg REAL,
  UNIQUE (session_id, sha256)
) STRICT;
INSERT INTO clips VALUES(1,1,1,'aa','a.mp4','2026-05-30T09:00:00Z',1,NULL,NULL,NULL);
INSERT INTO clips VALUES(2,1,1,'bb','b.mp4','2026-05-30T09:05:00Z',1,NULL,NULL,NULL);
INSERT INTO clips VALUES(3,1,2,'cc','c.mp4','2026-05-30T10:00:00Z',1,NULL,NULL,NULL);
INSERT INTO clips VALUES(4,1,2,'dd','d.mp4','2026-05-30T10:05:00Z',1,NULL,NULL,NULL);
CREATE TABLE shots (
  id INTEGER PRIMARY KEY,
  clip_id INTEGER NOT NULL REFERENCES clips (id),
  number INTEGER NOT NULL,         -- within the clip, from 1
  UNIQUE (clip_id, number)
) STRICT;
INSERT INTO shots VALUES(1,1,1);
INSERT INTO shots VALUES(2,2,1);
INSERT INTO shots VALUES(3,3,1);
INSERT INTO shots VALUES(4,4,1);
CREATE TABLE readings (
  id INTEGER PRIMARY KEY,
  clip_id INTEGER NOT NULL REFERENCES clips (id),
  shot_id INTEGER REFERENCES shots (id),
  current INTEGER NOT NULL CHECK (current IN (0, 1)),
  program_version TEXT,
  read_at TEXT,
  status TEXT NOT NULL,
  reason TEXT,
  focal_px REAL,
  focal_source TEXT,
  capture_fps REAL,
  capture_fps_source TEXT,
  loose_s REAL,
  exit_s REAL,
  nock_right_deg REAL,
  nock_right_u95_deg REAL,
  nock_high_deg REAL,
  nock_high_u95_deg REAL,
  right_high_correlation REAL,
  nock_right_slope_deg_per_m REAL,
  nock_right_slope_u95_deg_per_m REAL,
  nock_high_slope_deg_per_m REAL,
  nock_high_slope_u95_deg_per_m REAL,
  speed_mps REAL,
  speed_u95_mps REAL,
  flex_hz REAL,
  flex_u95_hz REAL,
  flex_mm REAL,
  flex_u95_mm REAL,
  cant_deg REAL,
  bow_right_deg REAL,              -- in the frame of the bow, the cant taken out
  bow_right_u95_deg REAL,
  bow_high_deg REAL,
  bow_high_u95_deg REAL,
  spine TEXT,
  nocking_point TEXT,
  summary TEXT,
  next_step TEXT
) STRICT;
INSERT INTO readings VALUES(1,1,1,1,'0.1.0','2026-06-01T08:00:00Z','measured',NULL,1386.7000000000000454,'assumed',239.98099999999999453,'container',NULL,0.8125,-2.5,0.20999999999999999222,1.5,0.4000000000000000222,-0.10000000000000000555,NULL,NULL,NULL,NULL,51.299999999999997156,1.1999999999999999555,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'unclear','unclear','Nock left: weak.',NULL);
INSERT INTO readings VALUES(2,2,2,1,'0.1.0','2026-06-01T08:00:00Z','measured',NULL,1386.7000000000000454,'assumed',239.98099999999999453,'container',NULL,0.8125,-2.25,0.20999999999999999222,1.75,0.4000000000000000222,-0.10000000000000000555,NULL,NULL,NULL,NULL,51.299999999999997156,1.1999999999999999555,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'unclear','unclear','Nock left: weak.',NULL);
INSERT INTO readings VALUES(3,3,3,1,'0.1.0','2026-06-01T08:00:00Z','measured',NULL,1386.7000000000000454,'assumed',239.98099999999999453,'container',NULL,0.8125,-2.0,0.20999999999999999222,0.25,0.4000000000000000222,-0.10000000000000000555,NULL,NULL,NULL,NULL,51.299999999999997156,1.1999999999999999555,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'unclear','unclear','Nock left: weak.',NULL);
INSERT INTO readings VALUES(4,4,4,1,'0.1.0','2026-06-01T08:00:00Z','measured',NULL,1386.7000000000000454,'assumed',239.98099999999999453,'container',NULL,0.8125,-1.75,0.20999999999999999222,0.0,0.4000000000000000222,-0.10000000000000000555,NULL,NULL,NULL,NULL,51.299999999999997156,1.1999999999999999555,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'unclear','unclear','Nock left: weak.',NULL);
CREATE TABLE verdicts (
  id INTEGER PRIMARY KEY,
  setup_id INTEGER NOT NULL REFERENCES setups (id),
  current INTEGER NOT NULL CHECK (current IN (0, 1)),
  program_version TEXT NOT NULL,
  judged_at TEXT NOT NULL,
  counted INTEGER NOT NULL,
  refused INTEGER NOT NULL,
  lateral_deg REAL,
  lateral_u95_deg REAL,
  lateral_scatter_deg REAL,
  lateral_freedom REAL,
  vertical_deg REAL,
  vertical_u95_deg REAL,
  vertical_scatter_deg REAL,
  vertical_freedom REAL,
  correlation REAL,
  spine TEXT NOT NULL,
  nocking_point TEXT NOT NULL,
  summary TEXT,
  warnings TEXT                    -- one a line
) STRICT;
INSERT INTO verdicts VALUES(1,1,1,'0.1.0','2026-11-25T10:45:41Z',2,0,-2.375,0.5,0.125,1.0,1.625,0.5,0.125,1.0,0.0,'weak','high','Weak, nocking point high.',replace('only two shots\nuneven spacing','\n',char(10)));
INSERT INTO verdicts VALUES(2,2,1,'0.1.0','2026-11-25T10:45:41Z',2,0,-1.875,0.5,0.125,1.0,0.125,0.5,0.125,1.0,0.0,'weak','level','Weak, nocking point level.',replace('only two shots\nuneven spacing','\n',char(10)));
CREATE TABLE changes (
  id INTEGER PRIMARY KEY,
  setup_id INTEGER NOT NULL REFERENCES setups (id),
  what TEXT NOT NULL,              -- a column of setups, or "bow" or "arrow"
  before_number REAL,
  after_number REAL,
  before_text TEXT,
  after_text TEXT,
  UNIQUE (setup_id, what)
) STRICT;
INSERT INTO changes VALUES(1,2,'nocking_point_m',0.015875000000000000222,0.012699999999999999483,NULL,NULL);
CREATE TABLE notes (
  id INTEGER PRIMARY KEY,
  at TEXT NOT NULL,
  text TEXT NOT NULL,
  bow_id INTEGER REFERENCES bows (id)
) STRICT;
INSERT INTO notes VALUES(1,'2026-05-30T11:00:00Z','string broke',1);
CREATE TABLE stills (
  id INTEGER PRIMARY KEY,
  clip_id INTEGER NOT NULL REFERENCES clips (id),
  path TEXT NOT NULL,              -- relative to the session's folder
  UNIQUE (clip_id, path)
) STRICT;
INSERT INTO stills VALUES(1,1,'nocktrail/a.mp4.png');
INSERT INTO stills VALUES(2,2,'nocktrail/b.mp4.png');
INSERT INTO stills VALUES(3,3,'nocktrail/c.mp4.png');
INSERT INTO stills VALUES(4,4,'nocktrail/d.mp4.png');
CREATE INDEX readings_of_clip ON readings (clip_id, current);
CREATE INDEX verdicts_of_setup ON verdicts (setup_id, current);
COMMIT;
PRAGMA application_id = 1852535922;
PRAGMA user_version = 1;
