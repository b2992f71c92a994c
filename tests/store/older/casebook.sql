--
-- PostgreSQL database dump
--


-- Dumped from database version 15.18 (Debian 15.18-0+deb12u1)
-- Dumped by pg_dump version 15.18 (Debian 15.18-0+deb12u1)

SET statement_timeout = 0;
SET lock_timeout = 0;
SET idle_in_transaction_session_timeout = 0;
SET client_encoding = 'UTF8';
SET standard_conforming_strings = on;
SELECT pg_catalog.set_config('search_path', '', false);
SET check_function_bodies = false;
SET xmloption = content;
SET client_min_messages = warning;
SET row_security = off;

SET default_tablespace = '';

SET default_table_access_method = heap;

--
-- Name: alembic_version; Type: TABLE; Schema: public; Owner: -
--

CREATE TABLE public.alembic_version (
    version_num character varying(32) NOT NULL
);


--
-- Name: cases; Type: TABLE; Schema: public; Owner: -
--

CREATE TABLE public.cases (
    "case" character varying NOT NULL,
    machine character varying NOT NULL,
    title text NOT NULL,
    opened character varying NOT NULL,
    last character varying NOT NULL,
    outcome character varying NOT NULL,
    causes text NOT NULL,
    rows_failed text NOT NULL,
    minutes double precision NOT NULL
);


--
-- Name: drills; Type: TABLE; Schema: public; Owner: -
--

CREATE TABLE public.drills (
    id character varying NOT NULL,
    at character varying NOT NULL,
    who text NOT NULL,
    code character varying NOT NULL,
    machine character varying NOT NULL,
    level integer NOT NULL,
    marks integer NOT NULL,
    minutes double precision NOT NULL,
    "right" boolean NOT NULL,
    opportunities text NOT NULL
);


--
-- Name: events; Type: TABLE; Schema: public; Owner: -
--

CREATE TABLE public.events (
    "case" character varying NOT NULL,
    number integer NOT NULL,
    id character varying NOT NULL,
    at character varying NOT NULL,
    who text NOT NULL,
    kind character varying NOT NULL,
    body text NOT NULL,
    CONSTRAINT events_are_numbered_from_one CHECK ((number > 0))
);


--
-- Name: words; Type: TABLE; Schema: public; Owner: -
--

CREATE TABLE public.words (
    "case" character varying NOT NULL,
    said text NOT NULL,
    found tsvector GENERATED ALWAYS AS (to_tsvector('simple'::regconfig, said)) STORED
);


--
-- Data for Name: alembic_version; Type: TABLE DATA; Schema: public; Owner: -
--

INSERT INTO public.alembic_version VALUES ('0002');


--
-- Data for Name: cases; Type: TABLE DATA; Schema: public; Owner: -
--

INSERT INTO public.cases VALUES ('20260302-mounted-6-aaaaaa', 'mounted-6', 'row 6 rides “light”', '2026-03-02T08:01:00.000000+00:00', '2026-03-02T08:17:00.000000+00:00', 'proven', '["row-6/valve:coil_open"]', '[5, 6]', 16);
INSERT INTO public.cases VALUES ('20260303-ours-bbbbbb', 'ours', '', '2026-03-03T08:01:00.000000+00:00', '2026-03-03T08:03:00.000000+00:00', 'handed-over', '[]', '[1, 2, 3, 4, 5, 6]', 2);
INSERT INTO public.cases VALUES ('20260304-mounted-12-cccccc', 'mounted-12', 'ours: no', '2026-03-04T08:01:00.000000+00:00', '2026-03-04T08:02:00.000000+00:00', 'open', '[]', '[5]', 1);


--
-- Data for Name: drills; Type: TABLE DATA; Schema: public; Owner: -
--

INSERT INTO public.drills VALUES ('dddddddddddddddddddddddddddddddd', '2026-03-01T08:00:00.000000+00:00', 'Ann', 'ABCD-EFGH', 'mounted-6', 1, 80, 93.5, false, '[{"skill": "patterns", "move": 1, "taken": true}]');


--
-- Data for Name: events; Type: TABLE DATA; Schema: public; Owner: -
--

INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 1, '00000000000000010000000000000001', '2026-03-02T08:01:00.000000+00:00', 'Ben Ünal', 'opened', '{"id":"00000000000000010000000000000001","at":"2026-03-02T08:01:00Z","who":"Ben Ünal","what":{"kind":"opened","case":"20260302-mounted-6-aaaaaa","machine":"mounted-6","title":"row 6 rides “light”","layout":null}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 2, '00000000000000010000000000000002', '2026-03-02T08:02:00.000000+00:00', 'Ann', 'history', '{"id":"00000000000000010000000000000002","at":"2026-03-02T08:02:00Z","who":"Ann","what":{"kind":"history","values":{"first-hookup":"no"}}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 3, '00000000000000010000000000000003', '2026-03-02T08:03:00.000000+00:00', 'Ben Ünal', 'circumstances', '{"id":"00000000000000010000000000000003","at":"2026-03-02T08:03:00Z","who":"Ben Ünal","what":{"kind":"circumstances","values":{"oil":54.25,"engine":"on","supply":null}}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 4, '00000000000000010000000000000004', '2026-03-02T08:04:00.000000+00:00', 'Ann', 'run', '{"id":"00000000000000010000000000000004","at":"2026-03-02T08:04:00Z","who":"Ann","what":{"kind":"run","check":"bleed","pattern":"PPPPPP","circumstances":{"oil":54.25,"engine":"on"}}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 5, '00000000000000010000000000000005', '2026-03-02T08:05:00.000000+00:00', 'Ben Ünal', 'run', '{"id":"00000000000000010000000000000005","at":"2026-03-02T08:05:00Z","who":"Ben Ünal","what":{"kind":"run","check":"response","pattern":"PPPPPF","circumstances":{"oil":54.25,"engine":"on"}}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 6, '00000000000000010000000000000006', '2026-03-02T08:06:00.000000+00:00', 'Ann', 'means', '{"id":"00000000000000010000000000000006","at":"2026-03-02T08:06:00Z","who":"Ann","what":{"kind":"means","without":["gauge"],"alone":true}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 7, '00000000000000010000000000000007', '2026-03-02T08:07:00.000000+00:00', 'Ben Ünal', 'skip', '{"id":"00000000000000010000000000000007","at":"2026-03-02T08:07:00Z","who":"Ben Ünal","what":{"kind":"skip","act":"response@5-6","reason":"no: ''off''"}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 8, '00000000000000010000000000000008', '2026-03-02T08:08:00.000000+00:00', 'Ann', 'reading', '{"id":"00000000000000010000000000000008","at":"2026-03-02T08:08:00Z","who":"Ann","what":{"kind":"reading","measurement":"coil-resistance","part":"row-6/valve","value":0.3333333333333333}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 9, '00000000000000010000000000000009', '2026-03-02T08:09:00.000000+00:00', 'Ben Ünal', 'swap', '{"id":"00000000000000010000000000000009","at":"2026-03-02T08:09:00Z","who":"Ben Ünal","what":{"kind":"swap","swap":"swap-coil","part":"row-5/valve","with":"row-6/valve"}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 10, '0000000000000001000000000000000a', '2026-03-02T08:10:00.000000+00:00', 'Ann', 'run', '{"id":"0000000000000001000000000000000a","at":"2026-03-02T08:10:00Z","who":"Ann","what":{"kind":"run","check":"response","pattern":"....FP","circumstances":{}}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 11, '0000000000000001000000000000000b', '2026-03-02T08:11:00.000000+00:00', 'Ben Ünal', 'note', '{"id":"0000000000000001000000000000000b","at":"2026-03-02T08:11:00Z","who":"Ben Ünal","what":{"kind":"note","text":"hose chafed\n\tsee <photo> 🚜"}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 12, '0000000000000001000000000000000c', '2026-03-02T08:12:00.000000+00:00', 'Ann', 'remedy', '{"id":"0000000000000001000000000000000c","at":"2026-03-02T08:12:00Z","who":"Ann","what":{"kind":"remedy","remedy":"replace-coil","part":"row-5/valve"}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 13, '0000000000000001000000000000000d', '2026-03-02T08:13:00.000000+00:00', 'Ben Ünal', 'correction', '{"id":"0000000000000001000000000000000d","at":"2026-03-02T08:13:00Z","who":"Ben Ünal","what":{"kind":"correction","event":"0000000000000001000000000000000b","instead":null,"reason":null,"step":"undo"}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 14, '0000000000000001000000000000000e', '2026-03-02T08:14:00.000000+00:00', 'Ann', 'correction', '{"id":"0000000000000001000000000000000e","at":"2026-03-02T08:14:00Z","who":"Ann","what":{"kind":"correction","event":"00000000000000010000000000000004","instead":{"kind":"run","check":"bleed","pattern":"PPPPPP","circumstances":{}},"reason":null,"step":null}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 15, '0000000000000001000000000000000f', '2026-03-02T08:15:00.000000+00:00', 'Ben Ünal', 'answer', '{"id":"0000000000000001000000000000000f","at":"2026-03-02T08:15:00Z","who":"Ben Ünal","what":{"kind":"answer","run":"0000000000000001000000000000000a","circumstance":"oil","value":50.0}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 16, '00000000000000010000000000000010', '2026-03-02T08:16:00.000000+00:00', 'Ann', 'run', '{"id":"00000000000000010000000000000010","at":"2026-03-02T08:16:00Z","who":"Ann","what":{"kind":"run","check":"response","pattern":"PPPPPP","circumstances":{"oil":54.25,"engine":"on"}}}');
INSERT INTO public.events VALUES ('20260302-mounted-6-aaaaaa', 17, '00000000000000010000000000000011', '2026-03-02T08:17:00.000000+00:00', 'Ben Ünal', 'conclusion', '{"id":"00000000000000010000000000000011","at":"2026-03-02T08:17:00Z","who":"Ben Ünal","what":{"kind":"conclusion","outcome":"proven","causes":["row-6/valve:coil_open"],"says":"the coil was broken"}}');
INSERT INTO public.events VALUES ('20260303-ours-bbbbbb', 1, '00000000000000020000000000000001', '2026-03-03T08:01:00.000000+00:00', 'Ben Ünal', 'opened', '{"id":"00000000000000020000000000000001","at":"2026-03-03T08:01:00Z","who":"Ben Ünal","what":{"kind":"opened","case":"20260303-ours-bbbbbb","machine":"ours","title":null,"layout":"id: ours\nname: mounted, 6 rows (invented layout)\nframe: mounted\nsays: One section and one harness branch; a bleed port at each end row.\nrows: 6\nsections:\n  - {id: section-1, rows: 1-6, feed: star}\nbranches:\n  - {id: harness-1, rows: 1-6, controller: controller-1}\ncontrollers:\n  - {id: controller-1}\nports:\n  - {id: port-left, at: 1, rows: 1-3}\n  - {id: port-right, at: 6, rows: 4-6}\n"}}');
INSERT INTO public.events VALUES ('20260303-ours-bbbbbb', 2, '00000000000000020000000000000002', '2026-03-03T08:02:00.000000+00:00', 'Ann', 'run', '{"id":"00000000000000020000000000000002","at":"2026-03-03T08:02:00Z","who":"Ann","what":{"kind":"run","check":"response","pattern":"FFFFFF","circumstances":{}}}');
INSERT INTO public.events VALUES ('20260303-ours-bbbbbb', 3, '00000000000000020000000000000003', '2026-03-03T08:03:00.000000+00:00', 'Ben Ünal', 'conclusion', '{"id":"00000000000000020000000000000003","at":"2026-03-03T08:03:00Z","who":"Ben Ünal","what":{"kind":"conclusion","outcome":"handed-over","causes":[],"says":"needs a second person"}}');
INSERT INTO public.events VALUES ('20260304-mounted-12-cccccc', 1, '00000000000000030000000000000001', '2026-03-04T08:01:00.000000+00:00', 'Ben Ünal', 'opened', '{"id":"00000000000000030000000000000001","at":"2026-03-04T08:01:00Z","who":"Ben Ünal","what":{"kind":"opened","case":"20260304-mounted-12-cccccc","machine":"mounted-12","title":"ours: no","layout":null}}');
INSERT INTO public.events VALUES ('20260304-mounted-12-cccccc', 2, '00000000000000030000000000000002', '2026-03-04T08:02:00.000000+00:00', 'Ann', 'run', '{"id":"00000000000000030000000000000002","at":"2026-03-04T08:02:00Z","who":"Ann","what":{"kind":"run","check":"bleed","pattern":"PPPPFPPPPPPP","circumstances":{}}}');


--
-- Data for Name: words; Type: TABLE DATA; Schema: public; Owner: -
--

INSERT INTO public.words VALUES ('20260302-mounted-6-aaaaaa', '20260302 mounted 6 aaaaaa row rides light ben ünal ann swap coil 5 valve replace open the was broken', DEFAULT);
INSERT INTO public.words VALUES ('20260303-ours-bbbbbb', '20260303 ours bbbbbb ben ünal ann needs a second person', DEFAULT);
INSERT INTO public.words VALUES ('20260304-mounted-12-cccccc', '20260304 mounted 12 cccccc ours no ben ünal ann', DEFAULT);


--
-- Name: alembic_version alembic_version_pkc; Type: CONSTRAINT; Schema: public; Owner: -
--

ALTER TABLE ONLY public.alembic_version
    ADD CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num);


--
-- Name: cases cases_pkey; Type: CONSTRAINT; Schema: public; Owner: -
--

ALTER TABLE ONLY public.cases
    ADD CONSTRAINT cases_pkey PRIMARY KEY ("case");


--
-- Name: drills drills_pkey; Type: CONSTRAINT; Schema: public; Owner: -
--

ALTER TABLE ONLY public.drills
    ADD CONSTRAINT drills_pkey PRIMARY KEY (id);


--
-- Name: events events_id_key; Type: CONSTRAINT; Schema: public; Owner: -
--

ALTER TABLE ONLY public.events
    ADD CONSTRAINT events_id_key UNIQUE (id);


--
-- Name: events events_pkey; Type: CONSTRAINT; Schema: public; Owner: -
--

ALTER TABLE ONLY public.events
    ADD CONSTRAINT events_pkey PRIMARY KEY ("case", number);


--
-- Name: words words_pkey; Type: CONSTRAINT; Schema: public; Owner: -
--

ALTER TABLE ONLY public.words
    ADD CONSTRAINT words_pkey PRIMARY KEY ("case");


--
-- Name: cases_by_last; Type: INDEX; Schema: public; Owner: -
--

CREATE INDEX cases_by_last ON public.cases USING btree (last);


--
-- Name: cases_by_machine; Type: INDEX; Schema: public; Owner: -
--

CREATE INDEX cases_by_machine ON public.cases USING btree (machine, last);


--
-- Name: cases_by_outcome; Type: INDEX; Schema: public; Owner: -
--

CREATE INDEX cases_by_outcome ON public.cases USING btree (outcome, last);


--
-- Name: drills_by_who; Type: INDEX; Schema: public; Owner: -
--

CREATE INDEX drills_by_who ON public.drills USING btree (who, at);


--
-- Name: words_found; Type: INDEX; Schema: public; Owner: -
--

CREATE INDEX words_found ON public.words USING gin (found);


--
-- Name: events events_case_fkey; Type: FK CONSTRAINT; Schema: public; Owner: -
--

ALTER TABLE ONLY public.events
    ADD CONSTRAINT events_case_fkey FOREIGN KEY ("case") REFERENCES public.cases("case");


--
-- Name: words words_case_fkey; Type: FK CONSTRAINT; Schema: public; Owner: -
--

ALTER TABLE ONLY public.words
    ADD CONSTRAINT words_case_fkey FOREIGN KEY ("case") REFERENCES public.cases("case");


--
-- PostgreSQL database dump complete
--


