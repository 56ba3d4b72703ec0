-- The schema before orders, with one closed run, a type's prices in money, and a dose that was corrected.
BEGIN TRANSACTION;
CREATE TABLE action (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	what TEXT NOT NULL, 
	detail TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES action (id)
);
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0005');
CREATE TABLE batch (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	name TEXT NOT NULL, 
	customer TEXT NOT NULL, 
	customer_address TEXT NOT NULL, 
	customer_contact TEXT NOT NULL, 
	received TEXT NOT NULL, 
	type_version_id INTEGER NOT NULL, 
	fingerprint TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES batch (id), 
	FOREIGN KEY(type_version_id) REFERENCES type_version (id)
);
INSERT INTO "batch" VALUES(1,'2025-10-01T18:00:00+00:00',1,NULL,NULL,'ferry 12','River Ferry Ltd','[]','','2025-10-01',1,'7a7f65e3a905161c859922f2e280275fe93f9f34fbfd455243fd2a6dd94e0858');
CREATE TABLE bench_study (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	bench TEXT NOT NULL, 
	done TEXT NOT NULL, 
	run_ids TEXT NOT NULL, 
	content TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES bench_study (id)
);
CREATE TABLE calibration (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	bench TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	station INTEGER NOT NULL, 
	done TEXT NOT NULL, 
	due TEXT NOT NULL, 
	reference TEXT NOT NULL, 
	uncertainty TEXT NOT NULL, 
	content TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES calibration (id)
);
CREATE TABLE certificate (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	number TEXT NOT NULL, 
	sha256 TEXT NOT NULL, 
	unit_id INTEGER NOT NULL, 
	decision_id INTEGER NOT NULL, 
	result_id INTEGER NOT NULL, 
	issued TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES certificate (id), 
	FOREIGN KEY(unit_id) REFERENCES unit (id), 
	FOREIGN KEY(decision_id) REFERENCES decision (id), 
	FOREIGN KEY(result_id) REFERENCES result (id)
);
CREATE TABLE certificate_state (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	certificate_id INTEGER NOT NULL, 
	state TEXT NOT NULL, 
	document TEXT NOT NULL, 
	why TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES certificate_state (id), 
	FOREIGN KEY(certificate_id) REFERENCES certificate (id)
);
CREATE TABLE chart_cause (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	run_id INTEGER NOT NULL, 
	chart TEXT NOT NULL, 
	cause TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES chart_cause (id), 
	FOREIGN KEY(run_id) REFERENCES run (id)
);
CREATE TABLE chunk (
	run_id INTEGER NOT NULL, 
	number INTEGER NOT NULL, 
	first_sequence INTEGER NOT NULL, 
	last_sequence INTEGER NOT NULL, 
	rows BLOB NOT NULL, 
	digest BLOB NOT NULL, 
	PRIMARY KEY (run_id, number), 
	FOREIGN KEY(run_id) REFERENCES run (id)
);
INSERT INTO "chunk" VALUES(1,0,0,1,X'070000000000A08601000100000000000000000000589800000062980000009001F4015802BC022003840300006400C800A00F401FFC3F00006400C800A00F401FFC3FC4090000FA00000000000000150000000000070001000000A08601000100000000000000000000589800000062980000009001F4015802BC022003840300006400C800A00F401FFC3F00006400C800A00F401FFC3FC4090000FA00000000000000150000000000',X'67528DC1887E01607B62D9CABDE86F1FBD6E7260F56A2E3C3620DB03416CC0C5');
INSERT INTO "chunk" VALUES(1,1,2,3,X'070002000000A08601000100000000000000000000589800000062980000009001F4015802BC022003840300006400C800A00F401FFC3F00006400C800A00F401FFC3FC4090000FA00000000000000150000000000070003000000A08601000100000000000000000000589800000062980000009001F4015802BC022003840300006400C800A00F401FFC3F00006400C800A00F401FFC3FC4090000FA00000000000000150000000000',X'42CE83883DB5337426B60304CF0BD627E72D60D727E486C2070940DD77363B54');
INSERT INTO "chunk" VALUES(1,2,0,0,X'',X'8DB1206CC7374D9D9F007583CD740A2BE76087184ADE9E57E307FDB5DC08A917');
CREATE TABLE credential (
	person_id INTEGER NOT NULL, 
	password_hash TEXT NOT NULL, 
	first BOOLEAN NOT NULL, 
	changed VARCHAR NOT NULL, 
	PRIMARY KEY (person_id), 
	FOREIGN KEY(person_id) REFERENCES person (id)
);
CREATE TABLE decision (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	unit_id INTEGER NOT NULL, 
	batch_id INTEGER NOT NULL, 
	result_id INTEGER NOT NULL, 
	fingerprint TEXT NOT NULL, 
	rule TEXT NOT NULL, 
	outcome TEXT NOT NULL, 
	probability FLOAT, 
	content TEXT NOT NULL, 
	agreement_customer TEXT NOT NULL, 
	agreement_record TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES decision (id), 
	FOREIGN KEY(unit_id) REFERENCES unit (id), 
	FOREIGN KEY(batch_id) REFERENCES batch (id), 
	FOREIGN KEY(result_id) REFERENCES result (id)
);
CREATE TABLE document (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	number TEXT NOT NULL, 
	sha256 TEXT NOT NULL, 
	sort TEXT NOT NULL, 
	about TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES document (id)
);
CREATE TABLE event (
	id INTEGER NOT NULL, 
	run_id INTEGER NOT NULL, 
	chunk_number INTEGER NOT NULL, 
	t_s FLOAT NOT NULL, 
	kind VARCHAR NOT NULL, 
	text TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(run_id) REFERENCES run (id)
);
INSERT INTO "event" VALUES(1,1,0,0.0,'gap','0 samples lost');
INSERT INTO "event" VALUES(2,1,1,0.2,'gap','1 samples lost');
INSERT INTO "event" VALUES(3,1,2,0.4,'closed','done: profile complete');
CREATE TABLE hand_measurement (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	unit_id INTEGER NOT NULL, 
	stage TEXT NOT NULL, 
	date TEXT NOT NULL, 
	content TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES hand_measurement (id), 
	FOREIGN KEY(unit_id) REFERENCES unit (id)
);
CREATE TABLE handling (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	bench TEXT NOT NULL, 
	station INTEGER NOT NULL, 
	what TEXT NOT NULL, 
	date TEXT NOT NULL, 
	text TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES handling (id)
);
CREATE TABLE intake (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	unit_id INTEGER NOT NULL, 
	batch_id INTEGER NOT NULL, 
	cause TEXT NOT NULL, 
	findings TEXT NOT NULL, 
	accepted BOOLEAN NOT NULL, 
	remark TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES intake (id), 
	FOREIGN KEY(unit_id) REFERENCES unit (id), 
	FOREIGN KEY(batch_id) REFERENCES batch (id)
);
INSERT INTO "intake" VALUES(1,'2025-10-01T18:00:00+00:00',1,NULL,NULL,1,1,'rework','{"corrosion":"not looked at","cracks":"good","heater_ohm":null,"identity":"good","insulation_mohm":null,"seal":"not looked at","spring":"not looked at","vent_pin":"not looked at","wax_seep":"not looked at"}',1,'');
CREATE TABLE link (
	number INTEGER NOT NULL, 
	kind VARCHAR NOT NULL, 
	row_id INTEGER NOT NULL, 
	digest VARCHAR(64) NOT NULL, 
	PRIMARY KEY (number), 
	CONSTRAINT link_row UNIQUE (kind, row_id)
);
INSERT INTO "link" VALUES(1,'person',1,'80266d9b8c28cb30074de01653409c9999f61810613ebd2e4e5cf52266d5bea0');
INSERT INTO "link" VALUES(2,'type_version',1,'616b62e74f39c64339b225620a1806f128abfcd6c35c6489c80ed2b440749db4');
INSERT INTO "link" VALUES(3,'batch',1,'c2fa4bb36b1c50975fe20e36e26f83bb84a19a53516a73011084b0e2ada45034');
INSERT INTO "link" VALUES(4,'unit',1,'b1236d50bbc91cc14e91cd0e13edb833cbc9d4c6421bd9fd972372d75ab09be3');
INSERT INTO "link" VALUES(5,'intake',1,'6e776cf8cd599aa8d442153b4172c466565a89a9b0bdf7a56b270dc26cc09f11');
INSERT INTO "link" VALUES(6,'rework',1,'f4c498dec9c645957b10d6ed9480388a00726253874420c50eba4a7620bae0c2');
INSERT INTO "link" VALUES(7,'rework',2,'30b9f76586a1ae5eb20b6699b1ae7b97444198988aa093c8591b34767af71511');
CREATE TABLE loading (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	batch_id INTEGER, 
	unit_id INTEGER, 
	bench TEXT NOT NULL, 
	station INTEGER NOT NULL, 
	place TEXT NOT NULL, 
	stage TEXT NOT NULL, 
	retest_cause TEXT, 
	cause_record TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES loading (id), 
	FOREIGN KEY(batch_id) REFERENCES batch (id), 
	FOREIGN KEY(unit_id) REFERENCES unit (id)
);
CREATE TABLE person (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	name TEXT NOT NULL, 
	rights TEXT NOT NULL, 
	active BOOLEAN NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES person (id)
);
INSERT INTO "person" VALUES(1,'2025-10-01T18:00:00+00:00',NULL,NULL,NULL,'Ada Quay','["certifier"]',1);
CREATE TABLE reference_unit (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	unit_id INTEGER NOT NULL, 
	since TEXT NOT NULL, 
	in_use BOOLEAN NOT NULL, 
	text TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES reference_unit (id), 
	FOREIGN KEY(unit_id) REFERENCES unit (id)
);
CREATE TABLE result (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	station_run_id INTEGER NOT NULL, 
	calibration_ids TEXT NOT NULL, 
	program TEXT NOT NULL, 
	content TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES result (id), 
	FOREIGN KEY(station_run_id) REFERENCES station_run (id)
);
CREATE TABLE rework (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	unit_id INTEGER NOT NULL, 
	batch_id INTEGER NOT NULL, 
	date TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	amount FLOAT, 
	text TEXT NOT NULL, supplier_lot TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES rework (id), 
	FOREIGN KEY(unit_id) REFERENCES unit (id), 
	FOREIGN KEY(batch_id) REFERENCES batch (id)
);
INSERT INTO "rework" VALUES(1,'2025-10-02T18:00:00+00:00',1,NULL,NULL,1,1,'2025-10-02','wax',40.0,'wax added',NULL);
INSERT INTO "rework" VALUES(2,'2025-10-03T08:00:00+00:00',1,1,'the balance said 4.0',1,1,'2025-10-02','wax',4.0,'wax added',NULL);
CREATE TABLE run (
	id INTEGER NOT NULL, 
	started VARCHAR NOT NULL, 
	bench VARCHAR NOT NULL, 
	plan_text TEXT NOT NULL, 
	bench_text TEXT NOT NULL, 
	calibration_text TEXT NOT NULL, 
	controller VARCHAR NOT NULL, 
	row_text TEXT NOT NULL, 
	status VARCHAR NOT NULL, 
	reason TEXT NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO "run" VALUES(1,'2025-10-01T18:00:00+00:00','quay','plan','bench','{}','{}','boot_id:H sequence:I device_ms:I state:B trip_reason:B stop_reason:B causes:I demand_sequence:I bath_sum:I bath_fault:B guard_sum:I guard_fault:B lift_sum:HHHHHH current_sum:HHHHHH voltage_sum:HHHHHH heater_on_ms:I duty:H station_flags:BBBBBB inputs:B outputs:B refused:H malformed:H','done','profile complete');
CREATE TABLE service_log (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	unit_id INTEGER NOT NULL, 
	fitted TEXT NOT NULL, 
	engine TEXT NOT NULL, 
	content TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES service_log (id), 
	FOREIGN KEY(unit_id) REFERENCES unit (id)
);
CREATE TABLE station_run (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	run_id INTEGER NOT NULL, 
	loading_id INTEGER NOT NULL, 
	station INTEGER NOT NULL, 
	status TEXT NOT NULL, 
	run_digest TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES station_run (id), 
	FOREIGN KEY(run_id) REFERENCES run (id), 
	FOREIGN KEY(loading_id) REFERENCES loading (id)
);
CREATE TABLE type_version (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	name TEXT NOT NULL, 
	version INTEGER NOT NULL, 
	fingerprint TEXT NOT NULL, 
	unit_type TEXT NOT NULL, 
	specification TEXT NOT NULL, rework_kind TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES type_version (id)
);
INSERT INTO "type_version" VALUES(1,'2025-10-01T18:00:00+00:00',1,NULL,NULL,'Teal-82',1,'7a7f65e3a905161c859922f2e280275fe93f9f34fbfd455243fd2a6dd94e0858','{"cap_c":103.0,"element_k_per_w":null,"element_max_a":0.0,"element_ohm":null,"full_lift_mm":8.0,"full_open_c":95.0,"greatest_lift_mm":null,"kind":"plain","name":"Teal-82","nominal_start_to_open_c":82.0,"threshold_mm":0.1}','{"limit":[{"after_s":null,"bath_c":null,"element_a":null,"estimator":null,"largest_u":null,"lower":null,"nominal":82.0,"quantity":"start_to_open_c","rate":null,"threshold_mm":0.1,"tolerance":2.0,"upper":null}],"rule":"guard_band_u","unit_type":"Teal-82","version":1}','{"cap_k":4.0,"dosing_sd_mg":1.0,"give_up_cost":45.0,"kind":"refillable","labour_cost":20.0,"most_rounds":3,"overfill_cost":60.0,"parts_cost":4.0,"step_mg":0.5,"unit":"mg"}');
CREATE TABLE unit (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	by_id INTEGER, 
	corrects INTEGER, 
	reason TEXT, 
	serial TEXT NOT NULL, 
	unit_type TEXT NOT NULL, 
	description TEXT NOT NULL, 
	customer_mark TEXT NOT NULL, supplier_lot TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(by_id) REFERENCES person (id), 
	FOREIGN KEY(corrects) REFERENCES unit (id)
);
INSERT INTO "unit" VALUES(1,'2025-10-01T18:00:00+00:00',1,NULL,NULL,'T82-0101','Teal-82','','',NULL);
CREATE TABLE web_session (
	digest VARCHAR(64) NOT NULL, 
	person_id INTEGER NOT NULL, 
	begun VARCHAR NOT NULL, 
	seen VARCHAR NOT NULL, 
	address VARCHAR NOT NULL, 
	PRIMARY KEY (digest), 
	FOREIGN KEY(person_id) REFERENCES person (id)
);
CREATE INDEX ix_event_run_id ON event (run_id);
CREATE TRIGGER person_no_update BEFORE UPDATE ON person  BEGIN SELECT RAISE(ABORT, 'person: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER person_no_delete BEFORE DELETE ON person  BEGIN SELECT RAISE(ABORT, 'person: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER person_no_insert BEFORE INSERT ON person WHEN EXISTS (SELECT 1 FROM person WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'person: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER type_version_no_update BEFORE UPDATE ON type_version  BEGIN SELECT RAISE(ABORT, 'type_version: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER type_version_no_delete BEFORE DELETE ON type_version  BEGIN SELECT RAISE(ABORT, 'type_version: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER type_version_no_insert BEFORE INSERT ON type_version WHEN EXISTS (SELECT 1 FROM type_version WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'type_version: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER unit_no_update BEFORE UPDATE ON unit  BEGIN SELECT RAISE(ABORT, 'unit: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER unit_no_delete BEFORE DELETE ON unit  BEGIN SELECT RAISE(ABORT, 'unit: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER unit_no_insert BEFORE INSERT ON unit WHEN EXISTS (SELECT 1 FROM unit WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'unit: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER batch_no_update BEFORE UPDATE ON batch  BEGIN SELECT RAISE(ABORT, 'batch: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER batch_no_delete BEFORE DELETE ON batch  BEGIN SELECT RAISE(ABORT, 'batch: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER batch_no_insert BEFORE INSERT ON batch WHEN EXISTS (SELECT 1 FROM batch WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'batch: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER intake_no_update BEFORE UPDATE ON intake  BEGIN SELECT RAISE(ABORT, 'intake: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER intake_no_delete BEFORE DELETE ON intake  BEGIN SELECT RAISE(ABORT, 'intake: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER intake_no_insert BEFORE INSERT ON intake WHEN EXISTS (SELECT 1 FROM intake WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'intake: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER loading_no_update BEFORE UPDATE ON loading  BEGIN SELECT RAISE(ABORT, 'loading: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER loading_no_delete BEFORE DELETE ON loading  BEGIN SELECT RAISE(ABORT, 'loading: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER loading_no_insert BEFORE INSERT ON loading WHEN EXISTS (SELECT 1 FROM loading WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'loading: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER station_run_no_update BEFORE UPDATE ON station_run  BEGIN SELECT RAISE(ABORT, 'station_run: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER station_run_no_delete BEFORE DELETE ON station_run  BEGIN SELECT RAISE(ABORT, 'station_run: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER station_run_no_insert BEFORE INSERT ON station_run WHEN EXISTS (SELECT 1 FROM station_run WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'station_run: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER result_no_update BEFORE UPDATE ON result  BEGIN SELECT RAISE(ABORT, 'result: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER result_no_delete BEFORE DELETE ON result  BEGIN SELECT RAISE(ABORT, 'result: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER result_no_insert BEFORE INSERT ON result WHEN EXISTS (SELECT 1 FROM result WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'result: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER rework_no_update BEFORE UPDATE ON rework  BEGIN SELECT RAISE(ABORT, 'rework: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER rework_no_delete BEFORE DELETE ON rework  BEGIN SELECT RAISE(ABORT, 'rework: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER rework_no_insert BEFORE INSERT ON rework WHEN EXISTS (SELECT 1 FROM rework WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'rework: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER calibration_no_update BEFORE UPDATE ON calibration  BEGIN SELECT RAISE(ABORT, 'calibration: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER calibration_no_delete BEFORE DELETE ON calibration  BEGIN SELECT RAISE(ABORT, 'calibration: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER calibration_no_insert BEFORE INSERT ON calibration WHEN EXISTS (SELECT 1 FROM calibration WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'calibration: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER handling_no_update BEFORE UPDATE ON handling  BEGIN SELECT RAISE(ABORT, 'handling: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER handling_no_delete BEFORE DELETE ON handling  BEGIN SELECT RAISE(ABORT, 'handling: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER handling_no_insert BEFORE INSERT ON handling WHEN EXISTS (SELECT 1 FROM handling WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'handling: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER reference_unit_no_update BEFORE UPDATE ON reference_unit  BEGIN SELECT RAISE(ABORT, 'reference_unit: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER reference_unit_no_delete BEFORE DELETE ON reference_unit  BEGIN SELECT RAISE(ABORT, 'reference_unit: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER reference_unit_no_insert BEFORE INSERT ON reference_unit WHEN EXISTS (SELECT 1 FROM reference_unit WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'reference_unit: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER chart_cause_no_update BEFORE UPDATE ON chart_cause  BEGIN SELECT RAISE(ABORT, 'chart_cause: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER chart_cause_no_delete BEFORE DELETE ON chart_cause  BEGIN SELECT RAISE(ABORT, 'chart_cause: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER chart_cause_no_insert BEFORE INSERT ON chart_cause WHEN EXISTS (SELECT 1 FROM chart_cause WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'chart_cause: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER decision_no_update BEFORE UPDATE ON decision  BEGIN SELECT RAISE(ABORT, 'decision: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER decision_no_delete BEFORE DELETE ON decision  BEGIN SELECT RAISE(ABORT, 'decision: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER decision_no_insert BEFORE INSERT ON decision WHEN EXISTS (SELECT 1 FROM decision WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'decision: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER certificate_no_update BEFORE UPDATE ON certificate  BEGIN SELECT RAISE(ABORT, 'certificate: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER certificate_no_delete BEFORE DELETE ON certificate  BEGIN SELECT RAISE(ABORT, 'certificate: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER certificate_no_insert BEFORE INSERT ON certificate WHEN EXISTS (SELECT 1 FROM certificate WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'certificate: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER certificate_state_no_update BEFORE UPDATE ON certificate_state  BEGIN SELECT RAISE(ABORT, 'certificate_state: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER certificate_state_no_delete BEFORE DELETE ON certificate_state  BEGIN SELECT RAISE(ABORT, 'certificate_state: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER certificate_state_no_insert BEFORE INSERT ON certificate_state WHEN EXISTS (SELECT 1 FROM certificate_state WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'certificate_state: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER link_no_update BEFORE UPDATE ON link  BEGIN SELECT RAISE(ABORT, 'link: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER link_no_delete BEFORE DELETE ON link  BEGIN SELECT RAISE(ABORT, 'link: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER link_no_insert BEFORE INSERT ON link WHEN EXISTS (SELECT 1 FROM link WHERE number = NEW.number) BEGIN SELECT RAISE(ABORT, 'link: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER hand_measurement_no_update BEFORE UPDATE ON hand_measurement  BEGIN SELECT RAISE(ABORT, 'hand_measurement: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER hand_measurement_no_delete BEFORE DELETE ON hand_measurement  BEGIN SELECT RAISE(ABORT, 'hand_measurement: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER hand_measurement_no_insert BEFORE INSERT ON hand_measurement WHEN EXISTS (SELECT 1 FROM hand_measurement WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'hand_measurement: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER service_log_no_update BEFORE UPDATE ON service_log  BEGIN SELECT RAISE(ABORT, 'service_log: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER service_log_no_delete BEFORE DELETE ON service_log  BEGIN SELECT RAISE(ABORT, 'service_log: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER service_log_no_insert BEFORE INSERT ON service_log WHEN EXISTS (SELECT 1 FROM service_log WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'service_log: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER bench_study_no_update BEFORE UPDATE ON bench_study  BEGIN SELECT RAISE(ABORT, 'bench_study: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER bench_study_no_delete BEFORE DELETE ON bench_study  BEGIN SELECT RAISE(ABORT, 'bench_study: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER bench_study_no_insert BEFORE INSERT ON bench_study WHEN EXISTS (SELECT 1 FROM bench_study WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'bench_study: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER action_no_update BEFORE UPDATE ON action  BEGIN SELECT RAISE(ABORT, 'action: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER action_no_delete BEFORE DELETE ON action  BEGIN SELECT RAISE(ABORT, 'action: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER action_no_insert BEFORE INSERT ON action WHEN EXISTS (SELECT 1 FROM action WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'action: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER document_no_update BEFORE UPDATE ON document  BEGIN SELECT RAISE(ABORT, 'document: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER document_no_delete BEFORE DELETE ON document  BEGIN SELECT RAISE(ABORT, 'document: what is on record stays; add a correction with its reason'); END;
CREATE TRIGGER document_no_insert BEFORE INSERT ON document WHEN EXISTS (SELECT 1 FROM document WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'document: what is on record stays; add a correction with its reason'); END;
COMMIT;
