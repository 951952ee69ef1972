BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0002');
CREATE TABLE "amplitude" (
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),  -- measurement it is part of [key]
    place INTEGER NOT NULL,  -- place in the measurement [1]
    feature TEXT NOT NULL,  -- order, driven: NAME or overall: NAME [text]
    order_number FLOAT,  -- times crank speed; empty if none [1]
    amplitude FLOAT,  -- rms value [unit in result]
    standard_error FLOAT,  -- of the amplitude [unit in result]
    floor FLOAT,  -- noise level [unit in result]
    visible BOOLEAN NOT NULL,  -- can be told from noise [yes/no]
    velocity_mm_s FLOAT,  -- rms velocity of an order; empty if it has no meaning [mm/s]
    PRIMARY KEY (measurement_id, place)
) WITHOUT ROWID;
INSERT INTO "amplitude" VALUES(1,0,'order',0.5,0.05,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(1,1,'order',1.0,0.1,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(1,2,'order',1.5,1.50000000000000022204e-01,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(1,3,'driven: alternator',NULL,2.20000000000000028865e-01,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(1,4,'overall: 10-1000 Hz',NULL,4.5,NULL,NULL,1,NULL);
INSERT INTO "amplitude" VALUES(2,0,'order',0.5,0.05,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(2,1,'order',1.0,0.1,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(2,2,'driven: alternator',NULL,2.20000000000000028865e-01,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(2,3,'overall: 10-1000 Hz',NULL,4.5,NULL,NULL,1,NULL);
INSERT INTO "amplitude" VALUES(3,0,'order',0.5,0.05,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(3,1,'order',1.0,0.1,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(3,2,'driven: alternator',NULL,2.20000000000000028865e-01,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(3,3,'overall: 10-1000 Hz',NULL,4.5,NULL,NULL,1,NULL);
INSERT INTO "amplitude" VALUES(4,0,'order',0.5,0.05,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(4,1,'order',1.0,0.1,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(4,2,'driven: alternator',NULL,2.20000000000000028865e-01,0.01,0.005,1,NULL);
INSERT INTO "amplitude" VALUES(4,3,'overall: 10-1000 Hz',NULL,4.5,NULL,NULL,1,NULL);
CREATE TABLE engine (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the engine [key]
    name TEXT NOT NULL,  -- name the person gave it [text]
    UNIQUE (name)
);
INSERT INTO "engine" VALUES(1,'main');
CREATE TABLE engine_file (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the engine file [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine described [key]
    toml TEXT NOT NULL,  -- engine file as given; the newest is current [text]
    added_at TEXT NOT NULL  -- when it was added [UTC]
);
INSERT INTO "engine_file" VALUES(1,1,'name = "main"
cylinders = 6
fast_idle_rpm = 1000
','2027-06-01T10:00:00.000Z');
CREATE TABLE filing (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the filing [key]
    recording_id INTEGER NOT NULL REFERENCES recording (id),  -- recording filed [key]
    series_id INTEGER NOT NULL REFERENCES series (id),  -- series, newest counts [key]
    made_at TEXT NOT NULL  -- when it was filed [UTC]
);
INSERT INTO "filing" VALUES(1,1,1,'2027-06-01T10:00:03.000Z');
INSERT INTO "filing" VALUES(2,2,2,'2027-06-01T10:00:07.000Z');
INSERT INTO "filing" VALUES(3,3,2,'2027-06-01T10:00:10.000Z');
INSERT INTO "filing" VALUES(4,4,3,'2027-06-01T10:00:15.000Z');
CREATE TABLE installation (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the installation [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine it is on [key]
    date TEXT NOT NULL,  -- day the damper was fitted or found [date]
    hours FLOAT NOT NULL,  -- engine hours at that time [h]
    as_found BOOLEAN NOT NULL,  -- taken as found, no new damper fitted [yes/no]
    engine_toml TEXT NOT NULL,  -- copy of the engine file at that time [text]
    added_at TEXT NOT NULL  -- when it was added [UTC]
);
INSERT INTO "installation" VALUES(1,1,'2026-05-01',3120.0,0,'name = "main"
cylinders = 6
fast_idle_rpm = 1000
','2027-06-01T10:00:04.000Z');
CREATE TABLE measurement (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the measurement [key]
    recording_id INTEGER NOT NULL REFERENCES recording (id),  -- what was measured [key]
    method_version INTEGER NOT NULL,  -- version of the method, highest counts [1]
    speed_rpm FLOAT,  -- measured speed; empty if none [rpm]
    unusable BOOLEAN NOT NULL,  -- a fault rules out comparison [yes/no]
    result TEXT NOT NULL,  -- whole result, units inside [JSON]
    made_at TEXT NOT NULL,  -- when it was measured [UTC]
    UNIQUE (recording_id, method_version)
);
INSERT INTO "measurement" VALUES(1,1,1,1000.0,0,'{"driven": [{"amplitude": 0.22000000000000003, "by_axis": {"x": 0.22000000000000003}, "floor": 0.005, "frequency_hz": 36.666666666666664, "name": "alternator", "order": 2.2, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}], "method_version": 1, "orders": [{"amplitude": 0.05, "by_axis": {"x": 0.05}, "floor": 0.005, "frequency_hz": 8.333333333333334, "order": 0.5, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}, {"amplitude": 0.1, "by_axis": {"x": 0.1}, "floor": 0.005, "frequency_hz": 16.666666666666668, "order": 1.0, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}, {"amplitude": 0.15000000000000002, "by_axis": {"x": 0.15000000000000002}, "floor": 0.005, "frequency_hz": 25.0, "order": 1.5, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}], "others": [], "overall": [{"band_hz": [10, 1000], "name": "10-1000 Hz", "unit": "mm/s", "value": 4.5}], "phase_reference": null, "quality": [], "recording": {"axes": ["x"], "duration_s": 0.03, "kind": "acceleration", "manner": "steady", "path": "/somewhere/clip.csv", "sample_rate_hz": 100.0, "sha256": "6db7d803e74f1ffa7d8f5adc0bf95b3e15bf4c8373fffadf546227cc6c6742cb", "unit": "m/s^2"}, "speed": {"candidates_rpm": [], "method": "harmonics", "rpm": 1000.0, "spread_percent": 0.3, "standard_error_rpm": 0.5, "tag_rpm": 1000.0}}','2027-06-01T10:00:02.000Z');
INSERT INTO "measurement" VALUES(2,2,1,1000.0,0,'{"driven": [{"amplitude": 0.22000000000000003, "by_axis": {"x": 0.22000000000000003}, "floor": 0.005, "frequency_hz": 36.666666666666664, "name": "alternator", "order": 2.2, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}], "method_version": 1, "orders": [{"amplitude": 0.05, "by_axis": {"x": 0.05}, "floor": 0.005, "frequency_hz": 8.333333333333334, "order": 0.5, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}, {"amplitude": 0.1, "by_axis": {"x": 0.1}, "floor": 0.005, "frequency_hz": 16.666666666666668, "order": 1.0, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}], "others": [], "overall": [{"band_hz": [10, 1000], "name": "10-1000 Hz", "unit": "mm/s", "value": 4.5}], "phase_reference": null, "quality": [], "recording": {"axes": ["x"], "duration_s": 0.03, "kind": "acceleration", "manner": "steady", "path": "/somewhere/clip.csv", "sample_rate_hz": 100.0, "sha256": "6b86b273ff34fce19d6b804eff5a3f5747ada4eaa22f1d49c01e52ddb7875b4b", "unit": "m/s^2"}, "speed": {"candidates_rpm": [], "method": "harmonics", "rpm": 1000.0, "spread_percent": 0.3, "standard_error_rpm": 0.5, "tag_rpm": 1000.0}}','2027-06-01T10:00:06.000Z');
INSERT INTO "measurement" VALUES(3,3,1,1002.0,0,'{"driven": [{"amplitude": 0.22000000000000003, "by_axis": {"x": 0.22000000000000003}, "floor": 0.005, "frequency_hz": 36.74, "name": "alternator", "order": 2.2, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}], "method_version": 1, "orders": [{"amplitude": 0.05, "by_axis": {"x": 0.05}, "floor": 0.005, "frequency_hz": 8.35, "order": 0.5, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}, {"amplitude": 0.1, "by_axis": {"x": 0.1}, "floor": 0.005, "frequency_hz": 16.7, "order": 1.0, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}], "others": [], "overall": [{"band_hz": [10, 1000], "name": "10-1000 Hz", "unit": "mm/s", "value": 4.5}], "phase_reference": null, "quality": [], "recording": {"axes": ["x"], "duration_s": 0.03, "kind": "acceleration", "manner": "steady", "path": "/somewhere/clip.csv", "sample_rate_hz": 100.0, "sha256": "d4735e3a265e16eee03f59718b9b5d03019c07d8b6c51f90da3a666eec13ab35", "unit": "m/s^2"}, "speed": {"candidates_rpm": [], "method": "harmonics", "rpm": 1002.0, "spread_percent": 0.3, "standard_error_rpm": 0.5, "tag_rpm": 1000.0}}','2027-06-01T10:00:09.000Z');
INSERT INTO "measurement" VALUES(4,4,1,1000.0,0,'{"driven": [{"amplitude": 0.22000000000000003, "by_axis": {"x": 0.22000000000000003}, "floor": 0.005, "frequency_hz": 36.666666666666664, "name": "alternator", "order": 2.2, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}], "method_version": 1, "orders": [{"amplitude": 0.05, "by_axis": {"x": 0.05}, "floor": 0.005, "frequency_hz": 8.333333333333334, "order": 0.5, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}, {"amplitude": 0.1, "by_axis": {"x": 0.1}, "floor": 0.005, "frequency_hz": 16.666666666666668, "order": 1.0, "reason": null, "standard_error": 0.01, "unit": "m/s^2", "variation_percent": 2.0, "velocity_mm_s": null, "visible": true}], "others": [], "overall": [{"band_hz": [10, 1000], "name": "10-1000 Hz", "unit": "mm/s", "value": 4.5}], "phase_reference": null, "quality": [], "recording": {"axes": ["x"], "duration_s": 0.03, "kind": "acceleration", "manner": "steady", "path": "/somewhere/clip.csv", "sample_rate_hz": 100.0, "sha256": "4e07408562bedb8b60ce05c1decfe3ad16b72230967de01f640b7e4729b49fce", "unit": "m/s^2"}, "speed": {"candidates_rpm": [], "method": "harmonics", "rpm": 1000.0, "spread_percent": 0.3, "standard_error_rpm": 0.5, "tag_rpm": 1000.0}}','2027-06-01T10:00:14.000Z');
CREATE TABLE recording (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the recording [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine recorded [key]
    label TEXT NOT NULL,  -- short id shown to people: first digits of sha256 [hex]
    sha256 TEXT NOT NULL,  -- SHA-256 of the original, which is kept by it [hex]
    name TEXT NOT NULL,  -- file name it came with [text]
    visit TEXT NOT NULL,  -- check-up it belongs to [text]
    hours FLOAT NOT NULL,  -- engine hours when recorded [h]
    date TEXT NOT NULL,  -- day it was recorded [date]
    rpm FLOAT,  -- speed the person stated [rpm]
    baseline BOOLEAN NOT NULL,  -- part of the baseline [yes/no]
    before BOOLEAN NOT NULL,  -- taken before the damper was renewed [yes/no]
    tags TEXT NOT NULL,  -- position, device, kind and so on as stated [JSON]
    reading TEXT NOT NULL,  -- options the original has to be read with [JSON]
    added_at TEXT NOT NULL,  -- when it was added [UTC]
    UNIQUE (engine_id, sha256),
    UNIQUE (label)
);
INSERT INTO "recording" VALUES(1,1,'6db7d803e7','6db7d803e74f1ffa7d8f5adc0bf95b3e15bf4c8373fffadf546227cc6c6742cb','clip.csv','2026-04-28',3119.0,'2026-04-28',1000.0,0,1,'{"codec": "", "condition": "", "device": "phone", "kind": "acceleration", "manner": "steady", "position": "head", "unit": "m/s^2"}','{}','2027-06-01T10:00:01.000Z');
INSERT INTO "recording" VALUES(2,1,'6b86b273ff','6b86b273ff34fce19d6b804eff5a3f5747ada4eaa22f1d49c01e52ddb7875b4b','clip.csv','2026-05-04',3150.0,'2026-05-04',1000.0,1,0,'{"codec": "", "condition": "", "device": "phone", "kind": "acceleration", "manner": "steady", "position": "head", "unit": "m/s^2"}','{}','2027-06-01T10:00:05.000Z');
INSERT INTO "recording" VALUES(3,1,'d4735e3a26','d4735e3a265e16eee03f59718b9b5d03019c07d8b6c51f90da3a666eec13ab35','clip.csv','2027-02-01',4100.5,'2027-02-01',1000.0,0,0,'{"codec": "", "condition": "", "device": "phone", "kind": "acceleration", "manner": "steady", "position": "head", "unit": "m/s^2"}','{}','2027-06-01T10:00:08.000Z');
INSERT INTO "recording" VALUES(4,1,'4e07408562','4e07408562bedb8b60ce05c1decfe3ad16b72230967de01f640b7e4729b49fce','clip.csv','2027-03-02',4202.0,'2027-03-02',1000.0,0,0,'{"codec": "", "condition": "", "device": "phone", "kind": "acceleration", "manner": "steady", "position": "head", "unit": "m/s^2"}','{}','2027-06-01T10:00:13.000Z');
CREATE TABLE series (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the series [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine recorded [key]
    installation_id INTEGER REFERENCES installation (id),  -- empty before the first [key]
    epoch INTEGER NOT NULL,  -- count of works that moved levels for good [1]
    position TEXT NOT NULL,  -- where the sensor sat [text]
    device TEXT NOT NULL,  -- what recorded [text]
    kind TEXT NOT NULL,  -- acceleration, sound and so on [text]
    unit TEXT NOT NULL,  -- unit of the samples [text]
    codec TEXT NOT NULL,  -- how sound was stored; blank for tables [text]
    manner TEXT NOT NULL,  -- steady, run-up or coast-down [text]
    condition TEXT NOT NULL,  -- warm, out of gear and so on [text]
    speed_rpm FLOAT  -- speed; empty when it sweeps [rpm]
);
INSERT INTO "series" VALUES(1,1,NULL,0,'head','phone','acceleration','m/s^2','','steady','',1000.0);
INSERT INTO "series" VALUES(2,1,1,0,'head','phone','acceleration','m/s^2','','steady','',1000.0);
INSERT INTO "series" VALUES(3,1,1,1,'head','phone','acceleration','m/s^2','','steady','',1000.0);
CREATE TABLE verdict (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the verdict [key]
    series_id INTEGER NOT NULL REFERENCES series (id),  -- series judged [key]
    made_at TEXT NOT NULL,  -- when it was judged [UTC]
    state TEXT NOT NULL,  -- state in plain words [text]
    result TEXT NOT NULL,  -- whole verdict, units inside [JSON]
    newest_recording_id INTEGER REFERENCES recording (id)  -- newest recording it knew [key]
);
INSERT INTO "verdict" VALUES(1,1,'2027-06-01T10:00:16.000Z','learning','{"recordings": []}',1);
INSERT INTO "verdict" VALUES(2,2,'2027-06-01T10:00:17.000Z','learning','{"recordings": []}',3);
INSERT INTO "verdict" VALUES(3,3,'2027-06-01T10:00:18.000Z','learning','{"recordings": []}',4);
CREATE TABLE work (
    id INTEGER NOT NULL PRIMARY KEY,  -- number of the work [key]
    engine_id INTEGER NOT NULL REFERENCES engine (id),  -- engine worked on [key]
    date TEXT NOT NULL,  -- day it was done [date]
    hours FLOAT NOT NULL,  -- engine hours at that time [h]
    what TEXT NOT NULL,  -- mounts, injectors, belt and so on [text]
    note TEXT NOT NULL,  -- what exactly was done; may be blank [text]
    added_at TEXT NOT NULL  -- when it was added [UTC]
);
INSERT INTO "work" VALUES(1,1,'2027-03-01',4200.0,'injectors','four new','2027-06-01T10:00:11.000Z');
INSERT INTO "work" VALUES(2,1,'2027-03-01',4200.0,'mounts','','2027-06-01T10:00:12.000Z');
CREATE INDEX engine_file_of_engine ON engine_file (engine_id);
CREATE INDEX installation_of_engine ON installation (engine_id);
CREATE INDEX series_of_engine ON series (engine_id);
CREATE INDEX filing_of_recording ON filing (recording_id);
CREATE INDEX filing_in_series ON filing (series_id);
CREATE INDEX verdict_of_series ON verdict (series_id);
CREATE INDEX work_of_engine ON work (engine_id);
COMMIT;
