from django.urls import path

from service.stock.views import instruments, products

app_name = "stock"
urlpatterns = [
    path("products/", products.products, name="products"),
    path("products/new/", products.product_new, name="product_new"),
    path("products/<uuid:pk>/", products.product, name="product"),
    path("products/<uuid:pk>/edit/", products.product_edit, name="product_edit"),
    path("products/<uuid:pk>/archive/", products.product_archive, name="product_archive"),
    path("products/<uuid:pk>/restore/", products.product_restore, name="product_restore"),
    path("products/<uuid:pk>/batches/new/", products.batch_new, name="batch_new"),
    path("batches/<uuid:pk>/edit/", products.batch_edit, name="batch_edit"),
    path("batches/<uuid:pk>/archive/", products.batch_archive, name="batch_archive"),
    path("batches/<uuid:pk>/restore/", products.batch_restore, name="batch_restore"),
    path("instruments/", instruments.instruments, name="instruments"),
    path("instruments/new/", instruments.instrument_new, name="instrument_new"),
    path("instruments/<uuid:pk>/edit/", instruments.instrument_edit, name="instrument_edit"),
    path("instruments/<uuid:pk>/archive/", instruments.instrument_archive, name="instrument_archive"),
    path("instruments/<uuid:pk>/restore/", instruments.instrument_restore, name="instrument_restore"),
    path("sites/<uuid:pk>/", products.site_products, name="site_products"),
    path(
        "sites/<uuid:pk>/products/<uuid:kept_pk>/remove/",
        products.site_product_remove,
        name="site_product_remove",
    ),
]
