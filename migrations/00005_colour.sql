-- The colour book: substrates as measured, and what base inks do on them.

-- +goose Up
CREATE TABLE substrate (
    id           text COLLATE "C" CONSTRAINT substrate_pkey PRIMARY KEY,
    title        text NOT NULL,
    first_nm     integer NOT NULL,
    step_nm      integer NOT NULL CONSTRAINT substrate_step_positive CHECK (step_nm > 0),
    reflectance  double precision[] NOT NULL,
    k1           double precision NOT NULL,
    k2           double precision NOT NULL,
    specular     boolean NOT NULL,
    film_g_per_m2 double precision NOT NULL CONSTRAINT substrate_film_positive CHECK (film_g_per_m2 > 0),
    measured     text NOT NULL,
    version      bigint NOT NULL DEFAULT 1,
    created_at   timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at   timestamptz NOT NULL DEFAULT clock_timestamp()
);

CREATE TABLE characterisation (
    id           text COLLATE "C" CONSTRAINT characterisation_pkey PRIMARY KEY,
    material     text COLLATE "C" NOT NULL CONSTRAINT characterisation_material_fkey REFERENCES material,
    substrate    text COLLATE "C" NOT NULL CONSTRAINT characterisation_substrate_fkey REFERENCES substrate,
    opaque       boolean NOT NULL,
    white        text COLLATE "C" CONSTRAINT characterisation_white_fkey REFERENCES characterisation,
    note         text NOT NULL,
    drawdowns    jsonb NOT NULL,
    k            double precision[] NOT NULL,
    s            double precision[] NOT NULL,
    residual     double precision NOT NULL,
    superseded   boolean NOT NULL,
    version      bigint NOT NULL DEFAULT 1,
    created_at   timestamptz NOT NULL DEFAULT clock_timestamp(),
    updated_at   timestamptz NOT NULL DEFAULT clock_timestamp()
);
-- One is current of an ink on a substrate, in either mode.
CREATE UNIQUE INDEX characterisation_current ON characterisation (substrate, material, opaque) WHERE NOT superseded;

-- +goose Down
DROP TABLE characterisation, substrate;
