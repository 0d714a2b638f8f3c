-- What everything means, laid over the newest form after the views. The rows of columns.csv go in as values.

CREATE OR REPLACE VIEW documentation AS
SELECT c.table_name AS name, c.column_name AS "column", c.data_type AS type,
       coalesce(m.meaning, c.comment) AS meaning
FROM duckdb_columns() c
LEFT JOIN (VALUES
{meanings}
) AS m(of_column, meaning) ON m.of_column = c.column_name
WHERE NOT c.internal AND c.schema_name = 'main' AND c.table_name <> 'documentation'
UNION ALL
SELECT view_name, NULL, NULL, comment FROM duckdb_views() WHERE NOT internal AND view_name <> 'documentation'
UNION ALL
SELECT table_name, NULL, NULL, comment FROM duckdb_tables() WHERE NOT internal
ORDER BY name, "column" NULLS FIRST;
COMMENT ON VIEW documentation IS 'What every table, view and column means';
