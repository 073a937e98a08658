"""Layouts of label sheets, a few to begin with, and the market whose label rules the house follows."""

from decimal import Decimal

from django.db import migrations, models


# Common practice, from memory, in millimetres: code, name, paper, width, height, columns, rows,
# margin left and top, gap across and down, radius of the corners.
STARTERS = [
    ('letter-10', '2 × 4 in, 10 on Letter', 'letter', '101.6', '50.8', 2, 5, '3.97', '12.7', '4.76', '0', '2'),
    ('letter-6', '3 1/3 × 4 in, 6 on Letter', 'letter', '101.6', '84.67', 2, 3, '3.97', '12.7', '4.76', '0', '2'),
    ('letter-12', '2 × 2 in, 12 on Letter', 'letter', '50.8', '50.8', 3, 4, '15.88', '15.24', '15.87', '15.24', '2'),
    ('letter-30', '1 × 2 5/8 in, 30 on Letter', 'letter', '66.68', '25.4', 3, 10, '4.76', '12.7', '3.18', '0', '2'),
    ('a4-8', '99 × 68 mm, 8 on A4', 'A4', '99.1', '67.7', 2, 4, '4.65', '13.1', '2.5', '0', '2'),
    ('a4-21', '64 × 38 mm, 21 on A4', 'A4', '63.5', '38.1', 3, 7, '7.25', '15.15', '2.5', '0', '2'),
    ('a4-4', '99 × 139 mm, 4 on A4', 'A4', '99.1', '139', 2, 2, '4.65', '9.5', '2.5', '0', '2'),
    ('roll-4-2', '4 × 2 in, roll', 'roll', '101.6', '50.8', 1, 1, '0', '0', '0', '0', '2'),
    ('roll-4-6', '4 × 6 in, roll', 'roll', '101.6', '152.4', 1, 1, '0', '0', '0', '0', '2'),
    ('roll-100-50', '100 × 50 mm, roll', 'roll', '100', '50', 1, 1, '0', '0', '0', '0', '2'),
]


def add_starters(apps, schema_editor):
    sheets = apps.get_model('inventory', 'LabelSheet').objects.using(schema_editor.connection.alias)
    for code, name, paper, width, height, columns, rows, left, top, across, down, radius in STARTERS:
        sheets.create(
            code=code,
            name=name,
            paper=paper,
            label_width_mm=Decimal(width),
            label_height_mm=Decimal(height),
            columns=columns,
            rows=rows,
            margin_left_mm=Decimal(left),
            margin_top_mm=Decimal(top),
            gap_x_mm=Decimal(across),
            gap_y_mm=Decimal(down),
            corner_radius_mm=Decimal(radius),
        )


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0010_measurement'),
    ]

    operations = [
        migrations.AddField(
            model_name='house',
            name='market',
            field=models.CharField(choices=[('us', 'United States'), ('eu', 'European Union')], default='us', max_length=2, verbose_name='where the honey is sold'),
        ),
        migrations.CreateModel(
            name='LabelSheet',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.SlugField(max_length=40, unique=True, verbose_name='short name')),
                ('name', models.CharField(max_length=60, unique=True, verbose_name='name')),
                ('paper', models.CharField(choices=[('letter', 'Letter'), ('A4', 'A4'), ('roll', 'roll')], default='letter', max_length=8, verbose_name='paper')),
                ('label_width_mm', models.DecimalField(decimal_places=2, max_digits=6, verbose_name='width of a label')),
                ('label_height_mm', models.DecimalField(decimal_places=2, max_digits=6, verbose_name='height of a label')),
                ('columns', models.PositiveSmallIntegerField(default=1, verbose_name='labels across')),
                ('rows', models.PositiveSmallIntegerField(default=1, verbose_name='labels down')),
                ('margin_left_mm', models.DecimalField(decimal_places=2, default=0, max_digits=6, verbose_name='left margin')),
                ('margin_top_mm', models.DecimalField(decimal_places=2, default=0, max_digits=6, verbose_name='top margin')),
                ('gap_x_mm', models.DecimalField(decimal_places=2, default=0, max_digits=6, verbose_name='gap across')),
                ('gap_y_mm', models.DecimalField(decimal_places=2, default=0, max_digits=6, verbose_name='gap down')),
                ('offset_x_mm', models.DecimalField(decimal_places=2, default=0, max_digits=5, verbose_name='move to the right')),
                ('offset_y_mm', models.DecimalField(decimal_places=2, default=0, max_digits=5, verbose_name='move down')),
                ('corner_radius_mm', models.DecimalField(decimal_places=2, default=0, max_digits=5, verbose_name='radius of the corners')),
                ('is_active', models.BooleanField(default=True, verbose_name='in use')),
            ],
            options={
                'verbose_name': 'label sheet',
                'verbose_name_plural': 'label sheets',
                'ordering': ['-is_active', 'paper', '-label_width_mm', '-label_height_mm', 'name'],
                'constraints': [models.CheckConstraint(condition=models.Q(('columns__gt', 0), ('label_height_mm__gt', 0), ('label_width_mm__gt', 0), ('rows__gt', 0)), name='label_sheet_measures_gt_0'), models.CheckConstraint(condition=models.Q(('corner_radius_mm__gte', 0), ('gap_x_mm__gte', 0), ('gap_y_mm__gte', 0), ('margin_left_mm__gte', 0), ('margin_top_mm__gte', 0)), name='label_sheet_margins_gte_0')],
            },
        ),
        migrations.RunPython(add_starters, migrations.RunPython.noop),
    ]
