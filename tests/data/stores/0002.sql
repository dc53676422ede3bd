BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0002');
CREATE TABLE records (
	number INTEGER NOT NULL, 
	kind VARCHAR(40) NOT NULL, 
	at VARCHAR(40) NOT NULL, 
	author TEXT NOT NULL, 
	authenticated BOOLEAN NOT NULL, 
	weekends TEXT NOT NULL, 
	body TEXT NOT NULL, 
	document TEXT, 
	previous VARCHAR(64) NOT NULL, 
	hash VARCHAR(64) NOT NULL, 
	PRIMARY KEY (number), 
	UNIQUE (previous), 
	UNIQUE (hash)
);
INSERT INTO "records" VALUES(1,'revision','2026-04-01T12:00:00+00:00','local',0,'["w1","w2"]','{"fingerprints":{"absences":"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa","clearances":"cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc","entries":"eeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeee","grades":"gggggggggggggggggggggggggggggggggggggggggggggggggggggggggggggggg","limits":"llllllllllllllllllllllllllllllllllllllllllllllllllllllllllllllll","races":"rrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrr"},"parent":null,"pins":[],"reason":"first lineup","seed":7,"value_s":102.0,"versions":{"lineup":"0.1.0","numpy":"2.4.6","ortools":"9.15.6755","python":"3.11.7","scipy":"1.17.1"}}','{"assignments":[{"athlete":"a1","car":"c1","position":"p1","race":"r1"},{"athlete":"a2","car":"c1","position":"p2","race":"r1"},{"athlete":"a3","car":"c1","position":"p3","race":"r1"},{"athlete":"a4","car":"c2","position":"p1","race":"r1"},{"athlete":"a5","car":"c2","position":"p2","race":"r1"},{"athlete":"a6","car":"c2","position":"p3","race":"r1"},{"athlete":"a1","car":"c1","position":"p1","race":"r2"},{"athlete":"a2","car":"c1","position":"p2","race":"r2"},{"athlete":"a3","car":"c1","position":"p3","race":"r2"},{"athlete":"a4","car":"c2","position":"p1","race":"r2"},{"athlete":"a5","car":"c2","position":"p2","race":"r2"},{"athlete":"a6","car":"c2","position":"p3","race":"r2"}],"costs":{"stops":100.0,"travel":2.0},"cover":[],"cover_costs":{},"cover_status":null,"entries":[],"fingerprints":{"absences":"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa","clearances":"cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc","entries":"eeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeee","grades":"gggggggggggggggggggggggggggggggggggggggggggggggggggggggggggggggg","limits":"llllllllllllllllllllllllllllllllllllllllllllllllllllllllllllllll","races":"rrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrr"},"format":"lineup-plan/1","notes":[],"reserves":[{"athlete":"a7","race":"r1"},{"athlete":"a7","race":"r2"}],"scenarios":64,"seed":7,"status":"proven","value_s":102.0,"weekends":["w1","w2"]}','0000000000000000000000000000000000000000000000000000000000000000','0dd4414fc26f35d2546eabf71b65121ce5181b98eaef7f825b82623c30e384e7');
INSERT INTO "records" VALUES(2,'proposed','2026-04-01T12:00:00+00:00','local',0,'["w1"]','{"revision":1,"step":"travel_list"}',NULL,'0dd4414fc26f35d2546eabf71b65121ce5181b98eaef7f825b82623c30e384e7','9f67b0ff6a524c35fcc1844defc508a19a7580ed886139670890cc90fcb221f6');
INSERT INTO "records" VALUES(3,'signed','2026-04-01T13:00:00+00:00','local',0,'["w1"]','{"items":[{"kind":"change","text":"nothing was signed for this weekend before: all 7 places on the travel list are new"}],"late":false,"revision":1,"roster_hash":"0dd4414fc26f35d2546eabf71b65121ce5181b98eaef7f825b82623c30e384e7","step":"travel_list","warnings":[]}',NULL,'9f67b0ff6a524c35fcc1844defc508a19a7580ed886139670890cc90fcb221f6','99a1eb772a319b0467ead674b51a44c653fa5663c267e146b098e79e3bc5ace0');
INSERT INTO "records" VALUES(4,'proposed','2026-04-01T12:00:00+00:00','local',0,'["w1"]','{"revision":1,"step":"starting_crews"}',NULL,'99a1eb772a319b0467ead674b51a44c653fa5663c267e146b098e79e3bc5ace0','2032c69f8870180fa19c6b0f1a53ffcbc492b0fea91e9ae6ba4e25d4e8513144');
INSERT INTO "records" VALUES(5,'signed','2026-04-01T13:00:00+00:00','local',0,'["w1"]','{"items":[{"kind":"change","text":"nothing was signed for this weekend before: all 6 seats are new"}],"late":false,"revision":1,"roster_hash":"0dd4414fc26f35d2546eabf71b65121ce5181b98eaef7f825b82623c30e384e7","step":"starting_crews","warnings":[]}',NULL,'2032c69f8870180fa19c6b0f1a53ffcbc492b0fea91e9ae6ba4e25d4e8513144','1ff53f1e41e7d1b95c0abecf9a9da9ce12fda770cc169339734129e4651230a3');
INSERT INTO "records" VALUES(6,'drill','2026-04-01T14:00:00+00:00','local',0,'[]','{"fingerprints":{},"name":"what if a1 is lost"}','["a1"]','1ff53f1e41e7d1b95c0abecf9a9da9ce12fda770cc169339734129e4651230a3','7fa307cfdf4c97a090b5d28abd1626e13db741adfb137b2021f43abfeba57fa5');
INSERT INTO "records" VALUES(7,'pin','2026-04-01T14:00:00+00:00','local',0,'[]','{"pin":{"athlete":"a5","car":null,"kind":"never","other":null,"position":"p1","race":null,"reason":"sore hand"}}',NULL,'7fa307cfdf4c97a090b5d28abd1626e13db741adfb137b2021f43abfeba57fa5','4adc815c1292a6d58dd9949e1fa2163406ba79b9830981b8db793289d3bb97e9');
INSERT INTO "records" VALUES(8,'pin','2026-04-01T14:00:00+00:00','local',0,'[]','{"pin":{"athlete":"a1","car":"c1","kind":"must","other":null,"position":"p1","race":null,"reason":"the owner\u2019s wish"}}',NULL,'4adc815c1292a6d58dd9949e1fa2163406ba79b9830981b8db793289d3bb97e9','2b4411fcbe658e5d7f32c293e6dfd468ad94cd919359d3f7335d1401a6a4b9b8');
INSERT INTO "records" VALUES(9,'pin_lifted','2026-04-01T15:00:00+00:00','local',0,'[]','{"pin":7,"reason":"healed"}',NULL,'2b4411fcbe658e5d7f32c293e6dfd468ad94cd919359d3f7335d1401a6a4b9b8','4c3623f90ce34f9883db6564764de659078e480a40a12fd523a369c118693c12');
INSERT INTO "records" VALUES(10,'revision','2026-04-01T15:00:00+00:00','local',0,'["w1","w2"]','{"fingerprints":{"absences":"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa","clearances":"cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc","entries":"eeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeee","grades":"gggggggggggggggggggggggggggggggggggggggggggggggggggggggggggggggg","limits":"llllllllllllllllllllllllllllllllllllllllllllllllllllllllllllllll","races":"rrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrr"},"parent":1,"pins":[],"reason":"second thoughts \u2014 \u0141ukasz","seed":7,"value_s":102.0,"versions":{"lineup":"0.1.0","numpy":"2.4.6","ortools":"9.15.6755","python":"3.11.7","scipy":"1.17.1"}}','{"assignments":[{"athlete":"a1","car":"c1","position":"p1","race":"r1"},{"athlete":"a2","car":"c1","position":"p2","race":"r1"},{"athlete":"a3","car":"c1","position":"p3","race":"r1"},{"athlete":"a4","car":"c2","position":"p1","race":"r1"},{"athlete":"a5","car":"c2","position":"p2","race":"r1"},{"athlete":"a6","car":"c2","position":"p3","race":"r1"},{"athlete":"a1","car":"c1","position":"p1","race":"r2"},{"athlete":"a2","car":"c1","position":"p2","race":"r2"},{"athlete":"a3","car":"c1","position":"p3","race":"r2"},{"athlete":"a8","car":"c2","position":"p1","race":"r2"},{"athlete":"a5","car":"c2","position":"p2","race":"r2"},{"athlete":"a6","car":"c2","position":"p3","race":"r2"}],"costs":{"stops":100.0,"travel":2.0},"cover":[],"cover_costs":{},"cover_status":null,"entries":[],"fingerprints":{"absences":"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa","clearances":"cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc","entries":"eeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeeee","grades":"gggggggggggggggggggggggggggggggggggggggggggggggggggggggggggggggg","limits":"llllllllllllllllllllllllllllllllllllllllllllllllllllllllllllllll","races":"rrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrrr"},"format":"lineup-plan/1","notes":[],"reserves":[{"athlete":"a7","race":"r1"},{"athlete":"a7","race":"r2"}],"scenarios":64,"seed":7,"status":"proven","value_s":102.0,"weekends":["w1","w2"]}','4c3623f90ce34f9883db6564764de659078e480a40a12fd523a369c118693c12','103fdd7bf48f31c97b9229777598ae2d9c5e448ce49b652c6c9e62b240539b5a');
INSERT INTO "records" VALUES(11,'proposed','2026-04-01T16:00:00+00:00','local',0,'["w2"]','{"revision":10,"step":"travel_list"}',NULL,'103fdd7bf48f31c97b9229777598ae2d9c5e448ce49b652c6c9e62b240539b5a','48a195357f00a442cbf67df2a8114748456ab77cdecc91c572b81a96c40550d7');
CREATE TABLE touches (
	weekend TEXT NOT NULL, 
	number INTEGER NOT NULL, 
	PRIMARY KEY (weekend, number), 
	FOREIGN KEY(number) REFERENCES records (number)
);
INSERT INTO "touches" VALUES('w1',1);
INSERT INTO "touches" VALUES('w2',1);
INSERT INTO "touches" VALUES('w1',2);
INSERT INTO "touches" VALUES('w1',3);
INSERT INTO "touches" VALUES('w1',4);
INSERT INTO "touches" VALUES('w1',5);
INSERT INTO "touches" VALUES('w1',10);
INSERT INTO "touches" VALUES('w2',10);
INSERT INTO "touches" VALUES('w2',11);
CREATE TRIGGER records_stay_update BEFORE UPDATE ON records BEGIN SELECT RAISE(ABORT, 'records can only be added to'); END;
CREATE TRIGGER records_stay_delete BEFORE DELETE ON records BEGIN SELECT RAISE(ABORT, 'records can only be added to'); END;
COMMIT;
