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
, max_draw_m REAL, max_draw_weight_n REAL) STRICT;
INSERT INTO bows VALUES(1,'Rook Hollow 45',200.169972686722474,NULL,0.17144999999999999129,0.1968499999999999972,7.0,NULL,NULL);
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
INSERT INTO arrows VALUES(1,'Heron shafts','deflection-in',0.5,'deflection',0.0076199999999999991698,0.020409105511811024419,0.00064798909999999989087);
CREATE TABLE sessions (
  id INTEGER PRIMARY KEY,
  name TEXT,
  folder TEXT NOT NULL UNIQUE,
  recorded_at TEXT NOT NULL
) STRICT;
INSERT INTO sessions VALUES(1,'Tamsin Orrick, Rook Hollow 45, autumn set','/home/robin/tuning/worked','2026-11-29T03:39:15Z');
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
  notes TEXT, fletching_mass_kg REAL, accepted_nock_height TEXT,
  UNIQUE (session_id, name)
) STRICT;
INSERT INTO setups VALUES(1,1,'1-full-length',1,1,1,'right',15.0,0.71119999999999994333,'14 strands',0.18414999999999998037,0.0015874999999999999354,0.017462499999999998856,0.81279999999999996695,0.81279999999999996695,0.0080998637500000001537,NULL,'fletched',26.0,NULL,'as bought, nocking point high',0.0012959781999999997817,NULL);
INSERT INTO setups VALUES(2,1,'2-nock-down',2,1,1,'right',15.0,0.71119999999999994333,'14 strands',0.18414999999999998037,0.0015874999999999999354,0.0095249999999999987454,0.81279999999999996695,0.81279999999999996695,0.0080998637500000001537,NULL,'fletched',26.0,NULL,'brought down 1/16in at a time; filmed again where it looked level',0.0012959781999999997817,NULL);
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
INSERT INTO clips VALUES(1,1,1,'075d3839d42c457befa7d4d6826cb88ffc944935a8eeda87278137af5b606c26','shot-11.mp4','2026-04-11T09:03:00Z',1,NULL,NULL,NULL);
INSERT INTO clips VALUES(2,1,1,'c81619fe6510d9a9c6981ea439f596926ac2780fb007945f8828d67333286c4b','shot-12.mp4','2026-04-11T09:06:00Z',1,NULL,NULL,NULL);
INSERT INTO clips VALUES(3,1,1,'304ac3f9e8a183e4ab40c615ae328a7fab0fd6a6be32fb90023fd52d693e9a10','shot-13.mp4','2026-04-11T09:09:00Z',1,NULL,NULL,NULL);
INSERT INTO clips VALUES(4,1,2,'882e9d8176c019df9e541510bcf8a624d4b8a064f883d98ac1941e567c783c32','shot-21.mp4','2026-04-18T09:03:00Z',1,NULL,NULL,NULL);
INSERT INTO clips VALUES(5,1,2,'83aa1cfcf4826cd9a74b65f8048be97148f8a492a877743c11777a0c1e28bbe7','shot-22.mp4','2026-04-18T09:06:00Z',1,NULL,NULL,NULL);
INSERT INTO clips VALUES(6,1,2,'cd9db1685267715b33c29926ec6a15125502a4e0db2a9698a970989e672ae6ce','shot-23.mp4','2026-04-18T09:09:00Z',1,NULL,NULL,NULL);
CREATE TABLE shots (
  id INTEGER PRIMARY KEY,
  clip_id INTEGER NOT NULL REFERENCES clips (id),
  number INTEGER NOT NULL, outlier TEXT, dropped TEXT,         -- within the clip, from 1
  UNIQUE (clip_id, number)
) STRICT;
INSERT INTO shots VALUES(1,1,1,NULL,NULL);
INSERT INTO shots VALUES(2,2,1,NULL,NULL);
INSERT INTO shots VALUES(3,3,1,NULL,NULL);
INSERT INTO shots VALUES(4,4,1,NULL,NULL);
INSERT INTO shots VALUES(5,5,1,NULL,NULL);
INSERT INTO shots VALUES(6,6,1,NULL,NULL);
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
, view TEXT, read_by TEXT, cant_u95_deg REAL, cant_source TEXT, bow_correlation REAL, step TEXT) STRICT;
INSERT INTO readings VALUES(1,1,1,1,'0.1.0','2026-11-29T01:45:45Z','measured',NULL,1323.7829277581265614,'user',240.0,'container',0.20228571231964556642,0.2182660758529134104,-0.97130496038125613278,0.12528400125678304521,1.6810103627210823962,0.64474972814546749333,0.4903908781886178736,0.078697581970122984507,0.095484536361964453266,-0.058695101109817841844,0.38335374173204572745,50.154495330189021728,4.9626585617837886132,59.612955137038831309,0.50664980796606085,16.926111701207421589,1.6386088147129616032,15.0,-1.3732860433218481155,0.20871383408494315059,1.3723391012626295903,0.65383909581759513951,'weak','high','Reads weak for a right-handed archer: nock left 1.37 ± 0.21 deg; nock high 1.4 ± 0.7 deg, from a nocking point too high or, by a bounce off the shelf, too low.','Film 3 more shots of this set-up and change nothing yet. 1 shot cannot tell offset from scatter, and a sign that does not come back is form or contact, not tune. If they agree, the nocking point is looked at before spine.','behind','program',5.8798919999999998964,'told',-0.33403506121965714781,'film-more');
INSERT INTO readings VALUES(2,2,2,1,'0.1.0','2026-11-29T01:45:45Z','measured',NULL,1323.7829277581265614,'user',240.0,'container',0.20166617463852853919,0.21741724169218110129,-1.3338428701035285328,0.13199785016342699406,1.6715865667431184515,0.79797911573636071125,0.17034674860291326714,0.11729230958467008749,0.15909472961788781453,0.075982550446848359793,0.45205996158298028531,49.859742941939657612,5.6205574304908454408,59.349272682347873342,0.50778026847422219614,22.782821282535316242,2.3943189603247247987,15.0,-1.7210317154551881824,0.26161790001042500852,1.2694046977380526453,0.79616684722515251859,'weak','unclear','Reads weak for a right-handed archer: nock left 1.72 ± 0.26 deg; nocking point unclear: nock high 1.3 ± 0.8 deg leans high but the interval reaches into the dead band of ±0.5 deg, and the mean of several shots would settle it.','Film 3 more shots of this set-up and change nothing yet. 1 shot cannot tell offset from scatter, and a sign that does not come back is form or contact, not tune. If they agree, the nocking point is looked at before spine.','behind','program',5.8798919999999998964,'told',-0.55517434919455643793,'film-more');
INSERT INTO readings VALUES(3,3,3,1,'0.1.0','2026-11-29T01:45:53Z','measured',NULL,1323.7829277581265614,'user',240.0,'container',0.20214909570514763559,0.21814212130702481662,-1.6816100054233475979,0.12867838468677886276,1.7612673931706879226,0.45011818840445788625,0.44167967295345894607,0.07047400567714683095,0.12680786469533994464,-0.06991770318742911161,0.25344771156728135297,50.05222253478617489,3.1846909044818749734,59.441582171596259341,0.30938405937511997967,23.192329529914161411,1.6771750059861656456,15.0,-2.0801600788551550813,0.183487630992381745,1.2660209662258745666,0.49790054749053097582,'weak','high','Reads weak for a right-handed archer: nock left 2.08 ± 0.18 deg; nock high 1.27 ± 0.50 deg, from a nocking point too high or, by a bounce off the shelf, too low.','Film 3 more shots of this set-up and change nothing yet. 1 shot cannot tell offset from scatter, and a sign that does not come back is form or contact, not tune. If they agree, the nocking point is looked at before spine.','behind','program',5.8798919999999998964,'told',0.036979924817458681429,'film-more');
INSERT INTO readings VALUES(4,4,4,1,'0.1.0','2026-11-29T01:46:03Z','measured',NULL,1323.7829277581265614,'user',240.0,'container',0.20218648986867324146,0.21774699015012285996,-2.5633123947941922615,0.18285180836505635082,0.39111447235352003737,0.48641993097055197248,0.66287236818104344759,0.046887620738239356443,0.2145119447425357928,-0.052890588857090505003,0.17519696187230482387,50.980723260256290531,3.2420177131248375523,59.77772379511463896,0.28258723762760529218,28.882565767682400804,1.9843004932597652079,15.0,-2.577197517238904556,0.13859446788953594387,-0.28564649643840167581,0.567090548570598596,'weak','unclear','Reads weak for a right-handed archer: nock left 2.58 ± 0.14 deg; nocking point unclear: nock low 0.3 ± 0.6 deg leans level but the interval reaches beyond the dead band of ±0.5 deg, and the mean of several shots would settle it.','Film 3 more shots of this set-up and change nothing yet. 1 shot cannot tell offset from scatter, and a sign that does not come back is form or contact, not tune. If they agree, the first change is one that can be undone, never a cut.','behind','program',5.8798919999999998964,'told',-0.094800010760136221854,'film-more');
INSERT INTO readings VALUES(5,5,5,1,'0.1.0','2026-11-29T01:46:03Z','measured',NULL,1323.7829277581265614,'user',240.0,'container',0.20240124142434690046,0.21828383676549406589,-1.5135192384061404435,0.13570543485336969413,0.80164847189069854405,0.57034115299384380293,0.57083904491428238969,0.10637021844345562193,0.12895230569036653101,0.11505195202475079763,0.2248825940245438304,50.117151261832525222,3.7438270150815990966,59.824715199831551616,0.40496713298458497654,20.718218214631139773,1.5936829450305463051,15.0,-1.6694292129644980882,0.13902024082147415584,0.38260535857582028684,0.59602880091657528538,'weak','unclear','Reads weak for a right-handed archer: nock left 1.67 ± 0.14 deg; nocking point unclear: nock high 0.4 ± 0.6 deg leans level but the interval reaches beyond the dead band of ±0.5 deg, and the mean of several shots would settle it.','Film 3 more shots of this set-up and change nothing yet. 1 shot cannot tell offset from scatter, and a sign that does not come back is form or contact, not tune. If they agree, the first change is one that can be undone, never a cut.','behind','program',5.8798919999999998964,'told',-0.38076939768553386134,'film-more');
INSERT INTO readings VALUES(6,6,6,1,'0.1.0','2026-11-29T01:46:09Z','measured',NULL,1323.7829277581265614,'user',240.0,'container',0.20263048522306520426,0.21857586298508221989,-1.3982915479337669761,0.095015435259847666471,-0.35467693582210446656,0.60118049063827883049,0.31895355510842765545,0.05705187657744646007,0.10537926527116583952,-0.093275067150855109354,0.17484559890864778686,50.614873287214720678,3.6567274554643725004,59.465515519069896297,0.36961080640631854832,18.399398944785318121,1.3411824934461700209,15.0,-1.258848772981579156,0.17220670080046981964,-0.70449609551078429259,0.6022392580334542389,'weak','unclear','Reads weak for a right-handed archer: nock left 1.26 ± 0.17 deg; nocking point unclear: nock low 0.7 ± 0.6 deg leans low but the interval reaches into the dead band of ±0.5 deg, and the mean of several shots would settle it.','Film 3 more shots of this set-up and change nothing yet. 1 shot cannot tell offset from scatter, and a sign that does not come back is form or contact, not tune. If they agree, the nocking point is looked at before spine.','behind','program',5.8798919999999998964,'told',-0.78313964047225759212,'film-more');
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
, cant_deg REAL, cant_u95_deg REAL, cant_source TEXT) STRICT;
INSERT INTO verdicts VALUES(1,1,1,'0.1.0','2026-11-29T03:39:15Z',3,0,-1.7252078124369238931,0.80547555761772171578,0.35068763953293619062,6.5101745296328745737,1.3021920900246430896,0.80951265097141356097,0.0,16.738070786254514388,0.87522547315067800166,'weak','unclear','Mean of 3 shots: nock left 1.7 ± 0.8 deg, spine weak as fletched, which the bare shaft decides; nock high 1.3 ± 0.8 deg, nocking point unclear.','3 shots can hardly tell scatter from offset, and an odd one cannot be told at all.',15.0,5.8798919999999998964,'told');
INSERT INTO verdicts VALUES(2,2,1,'0.1.0','2026-11-29T03:39:15Z',3,0,-1.8359942115305891707,0.79269488741854754465,0.67320753033794400455,6.3547139110719985666,-0.20139697361330155533,0.77913948181810577242,0.51069560397434021759,14.016476910989334569,-0.17658953910295643874,'weak','unclear','Mean of 3 shots: nock left 1.8 ± 0.8 deg, spine weak as fletched, which the bare shaft decides; nock low 0.2 ± 0.8 deg, nocking point unclear.','3 shots can hardly tell scatter from offset, and an odd one cannot be told at all.',15.0,5.8798919999999998964,'told');
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
INSERT INTO changes VALUES(1,2,'nocking_point_m',0.017462499999999998856,0.0095249999999999987454,NULL,NULL);
CREATE TABLE notes (
  id INTEGER PRIMARY KEY,
  at TEXT NOT NULL,
  text TEXT NOT NULL,
  bow_id INTEGER REFERENCES bows (id)
) STRICT;
INSERT INTO notes VALUES(1,'2026-06-01','string broke',NULL);
CREATE TABLE stills (
  id INTEGER PRIMARY KEY,
  clip_id INTEGER NOT NULL REFERENCES clips (id),
  path TEXT NOT NULL,              -- relative to the session's folder
  UNIQUE (clip_id, path)
) STRICT;
CREATE TABLE advice (
  id INTEGER PRIMARY KEY,
  session_id INTEGER NOT NULL REFERENCES sessions (id),
  current INTEGER NOT NULL CHECK (current IN (0, 1)),
  program_version TEXT NOT NULL,
  advised_at TEXT NOT NULL,
  kind TEXT NOT NULL,
  amount REAL,                     -- m, kg, or shots, by kind
  words TEXT,
  because TEXT,
  overshoot_chance REAL,
  cautions TEXT                    -- one a line
) STRICT;
INSERT INTO advice VALUES(1,1,1,'0.1.0','2026-11-29T03:39:15Z','shoot-bare',NULL,'Shoot the same shaft bare: four shots to begin with, from close by.','Fletching hides what the spine does, and a bare shaft tells more; fletched it reads nock left 1.8 ± 0.8 deg.',NULL,replace('Start bare shafts close by, at a large soft butt, with others well back, and stop when the flight is erratic: a badly mismatched one may break or glance off.\nBefore each shot look at the shaft, twist it, flex it about 2 in while turning it, and listen; destroy a damaged carbon shaft, break a cracked wooden one.\nNobody downrange; whoever films stays behind the shooting line, clear of elbow and limbs; secure an overhead mount; leave the phone where it is until the line is called clear. Local range rules override this advice.','\n',char(10)));
CREATE INDEX readings_of_clip ON readings (clip_id, current);
CREATE INDEX verdicts_of_setup ON verdicts (setup_id, current);
CREATE INDEX advice_of_session ON advice (session_id, current);
CREATE INDEX clips_of_setup ON clips (setup_id);
CREATE INDEX clips_by_content ON clips (sha256);
COMMIT;
PRAGMA user_version = 4; PRAGMA application_id = 1852535922;
